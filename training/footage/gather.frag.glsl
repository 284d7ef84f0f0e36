#version 330
// Averages one instant (drawn larger) into the exposure: four places of each pixel.
in vec2 uv; uniform sampler2D picture; uniform float share; uniform vec2 pixel; out vec4 colour;
void main(){
  vec3 sum = vec3(0.0);
  for(int i=-1;i<2;i+=2) for(int j=-1;j<2;j+=2) sum += texture(picture,uv+0.25*pixel*vec2(i,j)).rgb;
  colour = vec4(sum*0.25*share,1.0);
}
