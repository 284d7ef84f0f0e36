#version 330
// Metres along the line of sight from what the depth buffer holds; planes: near and far, m.
uniform vec2 planes; uniform sampler2D depth;
float metres(vec2 uv){
  float z = texture(depth,uv).r*2.0-1.0;
  return 2.0*planes.x*planes.y/(planes.y+planes.x-z*(planes.y-planes.x));
}
