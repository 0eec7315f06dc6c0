// Starts a thread from TypeScript source: on Node 20 a thread has to learn to load it by itself. Not part of the built program.
import { register } from 'tsx/esm/api';

register();
await import(process.argv[2]);
