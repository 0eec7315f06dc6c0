/** The package brings no types; gltf-transform takes its modules as they are. */
declare module 'draco3dgltf' {
  const draco: { createDecoderModule(): Promise<object>; createEncoderModule(): Promise<object> };
  export default draco;
}
