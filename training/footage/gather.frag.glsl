// Averages one instant (drawn larger) into the exposure: four places of each pixel, or, through a lens that is not sharp
// everywhere, places of a disc around it, each standing for its surroundings. A place counts whose own blur reaches the
// pixel; what lies behind the pixel blurs no farther than the pixel itself does.
in vec2 uv; uniform sampler2D picture; uniform float share; uniform vec2 pixel; uniform float lens; uniform float focus; out vec4 colour;
const int PLACES = 64;
float blur_of(float far){ return lens*min(abs(1.0-focus/far),1.0); }  // thin lens; radius, share of the picture's width
vec3 sharp(vec2 at){
  vec3 sum = vec3(0.0);
  for(int i=-1;i<2;i+=2) for(int j=-1;j<2;j+=2) sum += textureLod(picture,at+0.25*pixel*vec2(i,j),0.0).rgb;
  return sum*0.25;
}
vec3 through_lens(){
  float here = metres(uv), own = blur_of(here), apart = lens*1.77/sqrt(float(PLACES)), count = 1.0;
  float level = max(log2(apart*float(textureSize(picture,0).x)),0.0);
  vec3 sum = sharp(uv);
  for(int k=1;k<PLACES;k++){
    float reach = lens*sqrt(float(k)/float(PLACES)), angle = 2.39996*float(k);
    vec2 at = uv+reach*vec2(cos(angle),sin(angle)*pixel.y/pixel.x);
    float far = metres(at), blur = blur_of(far);
    if(far>here) blur = min(blur,own);
    float weight = smoothstep(reach-apart,reach+0.5*pixel.x,blur);
    sum += weight*textureLod(picture,at,blur>apart ? level : 0.0).rgb; count += weight;
  }
  return sum/count;
}
void main(){ colour = vec4((lens>0.0 ? through_lens() : sharp(uv))*share,1.0); }
