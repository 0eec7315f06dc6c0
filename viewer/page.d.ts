declare module '#spawn' {
  export const spawn: () => Worker;
  export const spawnShop: () => Promise<Worker>;
}

declare module '#pool' {
  export const webPool: (size: number) => import('../src/core/context.ts').Pool;
}

/** Version of the package that the page was built from. */
declare const VOIDGAUGE_VERSION: string;
