#version 330
// Averages one instant (drawn at twice the size) into the exposure.
in vec2 uv; uniform sampler2D picture; uniform float share; out vec4 colour;
void main(){ colour = vec4(texture(picture,uv).rgb*share,1.0); }
