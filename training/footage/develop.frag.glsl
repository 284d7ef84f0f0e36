#version 330
// Exposure, contrast, vignette and tint of the finished picture; top row first.
in vec2 uv; uniform sampler2D picture; uniform float exposure; uniform float gamma; uniform vec3 tone; uniform float vignette; uniform float haze;
out vec4 colour;
void main(){
  vec3 c = texture(picture,vec2(uv.x,1.0-uv.y)).rgb*exposure*tone;
  c = c/(1.0+0.25*c); c = mix(c, vec3(0.7), haze);
  c *= 1.0-vignette*dot(uv-0.5,uv-0.5);
  colour = vec4(pow(clamp(c,0.0,1.0),vec3(gamma)),1.0);
}
