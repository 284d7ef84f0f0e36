#version 330
// Value noise (a box of random numbers, smoothly read) and lighting shared by every surface.
uniform sampler3D noise_box;
float noise3(vec3 p){
  vec3 i = floor(p), f = fract(p); f = f*f*(3.0-2.0*f);
  return textureLod(noise_box, (i+f+0.5)/64.0, 0.0).r;
}
float fbm(vec3 p){ return 0.55*noise3(p)+0.28*noise3(p*2.1+7.3)+0.17*noise3(p*4.3+19.1); }
uniform vec3 sun_way; uniform vec3 sun_colour; uniform vec3 sky_colour; uniform vec3 ground_colour;
uniform sampler2D shadow_map; uniform mat4 shadow_vp; uniform float shadow_depth; uniform vec3 eye;
float lit(vec3 w){
  vec4 q = shadow_vp*vec4(w,1.0); vec3 c = q.xyz/q.w*0.5+0.5;
  if(any(lessThan(c,vec3(0.0)))||any(greaterThan(c,vec3(1.0)))) return 1.0;
  float s=0.0; vec2 px=1.0/vec2(textureSize(shadow_map,0));
  for(int i=-1;i<2;i+=2) for(int j=-1;j<2;j+=2) s += texture(shadow_map,c.xy+0.8*px*vec2(i,j)).r+0.004 < c.z ? 0.0 : 0.25;
  return mix(1.0, s, shadow_depth);
}
vec3 light(vec3 w, vec3 n, vec3 albedo, float gloss){
  float shade = lit(w), d = max(dot(n,sun_way)*0.85+0.15,0.0)*shade;
  vec3 amb = mix(ground_colour, sky_colour, n.y*0.5+0.5);
  vec3 v = normalize(eye-w), h = normalize(v+sun_way);
  float spec = gloss*pow(max(dot(n,h),0.0),24.0)*shade;
  float rim = gloss*0.35*pow(1.0-max(dot(n,v),0.0),3.0);
  return albedo*(sun_colour*d+amb)+spec*sun_colour+rim*sky_colour;
}
