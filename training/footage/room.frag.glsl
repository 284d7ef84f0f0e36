in vec3 world; in vec3 normal; in vec3 local;
uniform vec3 tint; uniform vec3 tint2; uniform int material; uniform float grain; uniform float scroll; uniform float seed; uniform float gloss;
uniform sampler2DArray backdrops; uniform float layer; uniform float layer2; uniform float blur; uniform float shade;
out vec4 colour;
void main(){
  if(material==4){ colour = vec4(textureLod(backdrops, vec3(local.x+0.5, 0.5-local.y, layer), blur).rgb*shade,1.0); return; }
  vec3 p = vec3(world.x+scroll, world.yz);
  vec3 c = tint;
  if(material==5){  // a strip of blades: tufts with ragged tops; grain: how fine they are, gloss: how thin they stand
    float fine = grain/6.0, bare = 0.42+gloss;
    float h = noise3(vec3(world.x*55.0*fine+seed,seed,1.0))*0.65+noise3(vec3(world.x*9.0,seed,2.0))*0.35;
    float lean = (noise3(vec3(world.x*20.0,seed,3.0))-0.5)*0.3*local.y;
    if(noise3(vec3((world.x+lean)*120.0*fine,world.y*6.0,seed))<bare || local.y+0.5>h) discard;
    colour = vec4(mix(tint,tint2,noise3(vec3(world.x*80.0*fine,world.y*5.0,seed)))*(sky_colour+0.7*sun_colour)*(0.5+0.5*(local.y+0.5)),1.0); return;
  }
  float n = fbm(p*grain+seed);
  if(material==7) c = texture(backdrops, vec3(p.xz*grain*0.25+seed, layer2)).rgb*mix(tint,tint2,n)*2.0;
  if(material==0) c = mix(tint,tint2,n);
  if(material==1) c = mix(tint,tint2,0.35*n+0.65*step(0.93,noise3(p*140.0)));
  if(material==2) c = mix(tint,tint2,0.6*n+0.4*noise3(vec3(p.x*90.0,p.y,p.z*40.0)))*(0.6+0.8*noise3(p*grain*6.0));
  if(material==3){ float s = step(0.06,fract(p.x*grain*0.5+0.13*floor(p.y*grain)))*step(0.08,fract(p.y*grain)); c = mix(tint2,tint*(0.8+0.4*n),s); }
  if(material==6) c = mix(tint,tint2,step(0.5,fract(p.y*grain*0.7+p.z*grain*0.5)));
  colour = vec4(light(world, normalize(normal), c, gloss),1.0);
}
