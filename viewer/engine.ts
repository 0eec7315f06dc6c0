import { spawn } from '#spawn';
import type { Mesh } from '../src/core/mesh.ts';
import type { CoarseHeader } from '../src/report/coarse.ts';
import { gunzip, type Source } from './data.ts';
import { type Dials, type QuickPart, type QuickResult, type Settings, together } from './quick.ts';
import type { RoomFound } from './quick-room.ts';

/** What the room's thread is told, first its fields, then each turn. */
export type ToRoom =
  | {
      readonly id: number;
      readonly header: CoarseHeader;
      readonly bytes: ArrayBuffer;
      readonly settings: Settings;
      readonly tank?: MessagePort;
    }
  | { readonly id: number; readonly dials: Dials };

/** What the tank's thread is told, first by the page, then by the room's thread. `room` is left out where it is the one of the turn before. */
export type ToTank =
  | { readonly id: number; readonly settings: Settings; readonly room: MessagePort }
  | { readonly id: number; readonly dials: Dials; readonly key: string; readonly field?: RoomFound['field'] };

/** A part on its way: a mesh that the page was sent before is only named. */
export interface SentPart extends Omit<QuickPart, 'meshes'> {
  readonly meshes: Readonly<Record<string, Mesh | 'as before'>>;
}

export type Said =
  | { readonly id: number; readonly side: 'room' | 'tank'; readonly part: SentPart | undefined; readonly done: boolean }
  | { readonly id: number; readonly error: string };

interface Answer {
  result(r: QuickResult, done: boolean): void;
  error(text: string): void;
}

/**
 * Recomputes in two threads, one for the room and one for the tank in it, which starts as soon as the room is there; only the newest
 * turn is answered, and it as it grows.
 */
export class Engine {
  private readonly workers: Worker[];
  private readonly step: number;
  private readonly withTank: boolean;
  private id = 0;
  private answer: Answer | undefined;
  /** What the sides have said of the newest turn. */
  private room: QuickPart | undefined;
  private tank: QuickPart | undefined;
  /** Meshes as last sent, by name. */
  private readonly meshes = new Map<string, Mesh>();
  private open = new Set<'room' | 'tank'>();

  /** Takes the coarse fields of a result; rejects with a sentence when they cannot be had. */
  static async open(source: Source, header: CoarseHeader, { settings, tank }: { settings: Settings; tank: boolean }): Promise<Engine> {
    const bytes = await gunzip(await source.read('coarse.bin'));
    return new Engine({ id: 0, header, bytes, settings }, tank);
  }

  private constructor(first: Extract<ToRoom, { bytes: unknown }>, withTank: boolean) {
    this.step = first.header.grid.step;
    this.withTank = withTank;
    this.workers = withTank ? [spawn(), spawn()] : [spawn()];
    for (const w of this.workers) {
      w.addEventListener('message', (event: MessageEvent<Said>) => this.take(event.data));
      w.addEventListener('error', (e) => this.answer?.error(e.message || 'the second thread did not start'));
    }
    const { port1, port2 } = new MessageChannel();
    this.workers[0].postMessage(withTank ? { ...first, tank: port1 } : first, withTank ? [first.bytes, port1] : [first.bytes]);
    this.workers[1]?.postMessage({ id: 0, settings: first.settings, room: port2 } satisfies ToTank, [port2]);
  }

  turn(dials: Dials, answer: Answer): void {
    this.answer = answer;
    this.room = undefined;
    this.tank = undefined;
    this.open = new Set(this.withTank ? ['room', 'tank'] : ['room']);
    this.workers[0].postMessage({ id: ++this.id, dials } satisfies ToRoom);
  }

  private take(said: Said): void {
    if ('part' in said && said.part)
      for (const [name, m] of Object.entries(said.part.meshes)) if (m !== 'as before') this.meshes.set(name, m);
    if (said.id !== this.id && !(said.id === 0 && 'error' in said)) return;
    if ('error' in said) {
      this.answer?.error(said.error);
      return;
    }
    if (said.part) this[said.side] = this.whole(said.part);
    if (said.done) this.open.delete(said.side);
    const { room, tank } = this;
    // Litres of a tank in a room without litres wait for those; where there is no room there is no tank.
    if (!room || !(room.none !== undefined || room.envelope_l)) return;
    this.answer?.result(together(this.step, room, tank), room.none !== undefined || this.open.size === 0);
  }

  private whole(part: SentPart): QuickPart {
    const meshes = Object.entries(part.meshes).flatMap(([name, m]) => {
      const mesh = m === 'as before' ? this.meshes.get(name) : m;
      return mesh ? [[name, mesh] as const] : [];
    });
    return { ...part, meshes: Object.fromEntries(meshes) };
  }
}
