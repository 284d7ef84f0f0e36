#version 330
in vec3 pos; in vec3 nrm; in vec4 bone; in vec4 weight; in float part; in float hair;
uniform mat4 bones[27]; uniform mat4 vp; uniform float size; uniform vec3 place; uniform float hair_length; uniform float shells; uniform float droop;
out vec3 rest; out vec3 rest_n; out vec3 world; out vec3 normal; flat out float kind; out float shell;
void main(){
  mat4 m = bones[int(bone.x)]*weight.x+bones[int(bone.y)]*weight.y+bones[int(bone.z)]*weight.z+bones[int(bone.w)]*weight.w;
  shell = shells>1.0 ? 1.0-float(gl_InstanceID)/(shells-1.0) : 0.0;  // outermost first: it covers the rest
  float len = hair_length*hair*shell;
  vec3 n = normalize(mat3(m)*nrm);
  vec3 p = (m*vec4(pos,1.0)).xyz + n*len - vec3(0.3,1.0,0.0)*droop*len*shell;
  p.y = max(p.y, 0.0);
  world = p*size+place; rest=pos; rest_n=nrm; normal=n; kind=part;
  gl_Position = vp*vec4(world,1.0);
}
