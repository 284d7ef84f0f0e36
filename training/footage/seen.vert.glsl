// One point a landmark: the share of its surroundings where something stands in front of it.
in vec3 mark; uniform mat4 vp; uniform float tolerance; uniform float radius;
flat out float covered;
void main(){
  vec4 q = vp*vec4(mark,1.0); vec2 uv = q.xy/q.w*0.5+0.5; float sum=0.0;
  for(int i=-1;i<2;i++) for(int j=-1;j<2;j++) sum += metres(uv+radius*vec2(i,j)) < q.w-tolerance ? 1.0 : 0.0;
  covered = sum/9.0;
  gl_Position = vec4((float(gl_VertexID)+0.5)/3.0-1.0,0.0,0.0,1.0); gl_PointSize=1.0;
}
