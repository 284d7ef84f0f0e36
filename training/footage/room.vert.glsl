#version 330
in vec3 pos; in vec3 nrm;
uniform mat4 model; uniform mat4 vp;
out vec3 world; out vec3 normal; out vec3 local;
void main(){ vec4 w = model*vec4(pos,1.0); world=w.xyz; local=pos; normal=normalize(transpose(inverse(mat3(model)))*nrm); gl_Position=vp*w; }
