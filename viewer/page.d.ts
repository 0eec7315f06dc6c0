declare module '#spawn' {
  export const spawn: () => Worker;
}
