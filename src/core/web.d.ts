/** The few globals that terminals, workers and browser tabs share and that the ES library file leaves out. */
declare class TextDecoder {
  constructor(label?: string, options?: { fatal?: boolean; ignoreBOM?: boolean });
  decode(input?: Uint8Array | ArrayBuffer, options?: { stream?: boolean }): string;
}
declare class TextEncoder {
  encode(input: string): Uint8Array<ArrayBuffer>;
}
declare const performance: { now(): number };
declare function setTimeout(run: () => void, ms: number): unknown;
