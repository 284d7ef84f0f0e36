#version 330
flat in float covered; out vec4 colour; void main(){ colour=vec4(covered); }
