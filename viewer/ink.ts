import {
  AlwaysStencilFunc,
  BackSide,
  Color,
  DecrementWrapStencilOp,
  DoubleSide,
  FrontSide,
  IncrementWrapStencilOp,
  NotEqualStencilFunc,
  type Plane,
  ShaderMaterial,
} from 'three';

/**
 * The materials of the drawing: matt colours with darkened edges, see-through for faint things, hatched cut faces, and ink
 * lines round them. Colours go to the screen as they are given; no light of the scene takes part.
 */
const SURFACE_VERTEX = `
#include <clipping_planes_pars_vertex>
varying vec3 vNormal;
varying vec3 vAt;
void main() {
  #include <begin_vertex>
  #include <project_vertex>
  #include <clipping_planes_vertex>
  vNormal = normalMatrix * normal;
  vAt = mvPosition.xyz;
}`;

// The view is parallel, so a surface faces the eye where its normal's z is positive; scans need not be oriented.
const SURFACE_FRAGMENT = `
#include <clipping_planes_pars_fragment>
uniform vec3 colour;
uniform vec3 ink;
uniform float faint;
uniform float sharp;
varying vec3 vNormal;
varying vec3 vAt;
void main() {
  #include <clipping_planes_fragment>
  vec3 n = normalize(vNormal);
  vec3 face = normalize(cross(dFdx(vAt), dFdy(vAt)));
  if (sharp > 0.5 && abs(dot(face, n)) < 0.98) n = face;
  if (n.z < 0.0) n = -n;
  float lit = 0.62 + 0.38 * dot(n, vec3(-0.408, 0.577, 0.707));
  float edge = pow(1.0 - n.z, 3.0);
  vec3 c = mix(colour * lit, ink, 0.45 * edge);
  if (!gl_FrontFacing) c = mix(c, ink, 0.22);
  float alpha = faint > 0.5 ? mix(0.10, 0.5, pow(1.0 - n.z, 2.0)) : 1.0;
  gl_FragColor = vec4(c, alpha);
}`;

/** `sharp`: corners of more than about 11 degrees are edges, not rounded by shading. */
export function surfaceInk(colour: string, ink: string, { faint, sharp }: { faint: boolean; sharp: boolean }): ShaderMaterial {
  return new ShaderMaterial({
    vertexShader: SURFACE_VERTEX,
    fragmentShader: SURFACE_FRAGMENT,
    uniforms: {
      colour: { value: new Color(colour) },
      ink: { value: new Color(ink) },
      faint: { value: faint ? 1 : 0 },
      sharp: { value: sharp ? 1 : 0 },
    },
    clipping: true,
    side: DoubleSide,
    transparent: faint,
    depthWrite: !faint,
  });
}

/** Counts, pixel by pixel, how many walls of a closed mesh lie behind the cut; drawn once for each side. */
export function countInk(back: boolean, plane: Plane): ShaderMaterial {
  const op = back ? IncrementWrapStencilOp : DecrementWrapStencilOp;
  return new ShaderMaterial({
    vertexShader: SURFACE_VERTEX,
    fragmentShader: `#include <clipping_planes_pars_fragment>
void main() {
  #include <clipping_planes_fragment>
  gl_FragColor = vec4(1.0);
}`,
    clipping: true,
    clippingPlanes: [plane],
    side: back ? BackSide : FrontSide,
    colorWrite: false,
    depthWrite: false,
    depthTest: false,
    stencilWrite: true,
    stencilFunc: AlwaysStencilFunc,
    stencilFail: op,
    stencilZFail: op,
    stencilZPass: op,
  });
}

/** A cut face: hatched as on a drawing, at its own angle and spacing; faint things show the hatching alone. */
export function hatchInk(colour: string, paper: string, hatch: Hatch, faint: boolean): ShaderMaterial {
  return new ShaderMaterial({
    vertexShader: 'void main() { gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0); }',
    fragmentShader: `
uniform vec3 colour;
uniform vec3 paper;
uniform vec2 along;
uniform float gap;
uniform float faint;
uniform float scale;
void main() {
  // Distance from the middle of the nearest line, in pixels of the picture; edges softened over one of them.
  float off = abs(fract(dot(gl_FragCoord.xy, along) / (gap * scale)) - 0.5) * gap * scale;
  float line = 1.0 - smoothstep(0.8 * scale - 0.5, 0.8 * scale + 0.5, off);
  if (faint > 0.5 && line < 0.5) discard;
  gl_FragColor = vec4(mix(mix(paper, colour, 0.22), colour, line), 1.0);
}`,
    uniforms: {
      colour: { value: new Color(colour) },
      paper: { value: new Color(paper) },
      along: { value: [Math.cos(hatch.angle), Math.sin(hatch.angle)] },
      gap: { value: hatch.gap },
      faint: { value: faint ? 1 : 0 },
      scale: { value: 1 },
    },
    side: DoubleSide,
    stencilWrite: true,
    stencilRef: 0,
    stencilFunc: NotEqualStencilFunc,
  });
}

/** Direction across the lines, radians on the screen, and their spacing in CSS pixels. */
export interface Hatch {
  readonly angle: number;
  readonly gap: number;
}

/** Lines of constant width on the screen: `position` is an end point, `across` the segment's direction times the side. */
export function lineInk(colour: string, width: number): ShaderMaterial {
  return new ShaderMaterial({
    vertexShader: `
attribute vec3 across;
uniform float width;
uniform float zoom;
void main() {
  vec4 p = modelViewMatrix * vec4(position, 1.0);
  vec2 d = (modelViewMatrix * vec4(across, 0.0)).xy;
  float len = length(d);
  if (len > 0.0) p.xy += vec2(-d.y, d.x) / len * (0.5 * width / zoom);
  p.z += 0.6 / zoom;
  gl_Position = projectionMatrix * p;
}`,
    fragmentShader: 'uniform vec3 colour; void main() { gl_FragColor = vec4(colour, 1.0); }',
    uniforms: { colour: { value: new Color(colour) }, width: { value: width }, zoom: { value: 1 } },
    side: DoubleSide,
  });
}
