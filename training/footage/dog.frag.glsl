in vec3 rest; in vec3 rest_n; in vec3 world; in vec3 normal; flat in float kind; in float shell;
uniform vec3 coat[4];        // main, second, white marks, skin
uniform int pattern; uniform float thresholds[8]; uniform float seed; uniform float gloss;
uniform vec4 bands[5]; uniform vec3 band_colour[5]; uniform vec3 band_part[5]; uniform vec3 face[3]; uniform float skull;
uniform float hair_scale; uniform float curl; uniform float boot; uniform vec3 boot_colour; uniform vec4 clipped;
out vec4 colour;
float soft(float edge, float width, float v){ return smoothstep(edge-width, edge+width, v); }
vec3 coat_colour(vec3 r, float n1, float n2){
  float leg = kind>0.5&&kind<1.5 ? 1.0:0.0, head = kind>1.5&&kind<2.5 ? 1.0:0.0, tail = kind>2.5&&kind<3.5 ? 1.0:0.0;
  float m = 0.0;
  if(pattern==1) m = (1.0-leg*soft(0.55,0.1,1.0-r.y))*soft(thresholds[0],0.05,r.y+0.25*(n1-0.5))*(1.0-head*0.8);
  if(pattern==2) m = soft(thresholds[1],0.02,n1);
  if(pattern==3) m = soft(0.55,0.15,0.5+0.5*sin(r.x*thresholds[2]*2.0+n1*14.0))*0.85;
  if(pattern==4) m = soft(thresholds[1],0.05,noise3(r*thresholds[2]*0.7+seed))*0.9;
  if(pattern==5) m = max(leg*soft(1.0-thresholds[0]*0.7,0.04,1.0-r.y+0.1*(n1-0.5)), head*soft(0.0,0.02,dot(r-face[1],normalize(face[0]-face[1]))+0.06*(n1-0.5)));
  if(pattern==6) m = soft(0.45,0.35,-rest_n.y*0.8+0.3*n1);
  vec3 c = mix(coat[0],coat[1],m);
  float w = 0.0;
  w = max(w, leg*soft(1.0-thresholds[3]-0.12*(r.x>0.0?1.0:0.0)*thresholds[7],0.015,1.0-r.y+0.05*(n1-0.5)));
  w = max(w, tail*soft(thresholds[4],0.03,length(r.xy-face[2].xy)));
  w = max(w, head*(1.0-soft(thresholds[5],0.02,abs(r.z)+0.03*(n1-0.5))));
  w = max(w, (kind>3.5||kind<0.5?1.0:0.0)*soft(1.0-thresholds[6],0.02,r.x*0.5-r.y*0.35+0.25+0.2*(n1-0.5)));
  c = mix(c, coat[2], w);
  return c*(0.82+0.36*n2);
}
void main(){
  vec3 hs = vec3(60.0,90.0,90.0)*hair_scale;
  float strand = noise3(rest*hs+curl*3.0*sin(rest.yzx*17.0+seed)+seed);
  if(shell>0.0 && strand < 0.18+0.62*shell) discard;
  float n1 = fbm(rest*(3.0+thresholds[2]*0.12)+seed);
  vec3 c = coat_colour(rest, n1, mix(0.5,strand,0.6)) * (0.75+0.25*shell+ (hair_scale<0.0?0.25:0.0));
  if(clipped.w>0.0) c = mix(coat[3], c, soft(clipped.w,0.01,distance(rest,clipped.xyz)+0.02*n1));
  if(kind<0.5||kind>3.5) for(int i=0;i<5;i++) if(band_part[i].z>0.0){
    bool on = band_part[i].x>0.5 ? kind>3.5 : kind<0.5;
    if(on && abs(dot(bands[i].xyz,rest)-bands[i].w)<band_part[i].z && rest.y>band_part[i].y) c = band_colour[i]*(0.9+0.2*n1);
  }
  if(boot>0.0 && kind>0.5 && kind<1.5 && rest.y<boot) c = boot_colour;
  float feature = 0.0;
  if(kind>1.5&&kind<2.5){
    feature = 1.0-soft(skull*0.26,0.006,distance(rest,face[0]));
    vec3 e = vec3(rest.xy,abs(rest.z))-vec3(face[1].xy,skull*0.62);
    feature = max(feature, 1.0-soft(skull*0.16,0.006,length(e)));
  }
  if(kind>0.5&&kind<1.5&&rest.y<0.018&&boot<=0.0) feature=max(feature,0.55);
  c = mix(c, vec3(0.03,0.025,0.025), feature);
  vec3 n = normalize(normal + 0.35*(vec3(strand,noise3(rest*hs.yxz+5.0),n1)-0.5));
  colour = vec4(light(world, n, c, gloss+feature*0.3), 1.0);
}
