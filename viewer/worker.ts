import { type Context, inTurn } from '../src/core/context.ts';
import { Fault } from '../src/core/fault.ts';
import type { Mesh } from '../src/core/mesh.ts';
import { inlineContext } from '../src/parallel/inline.ts';
import { readCoarse } from '../src/report/coarse.ts';
import type { Said, ToRoom, ToTank } from './engine.ts';
import type { QuickPart } from './quick.ts';
import { QuickRoom } from './quick-room.ts';
import { QuickTank } from './quick-tank.ts';

/**
 * The page's further threads: one holds the coarse fields and finds the room for each turn of the dials, the other what a tank in it would hold.
 * Both answer in parts; a newer turn ends an older one.
 */
let newest = 0;
let before: Promise<void> = Promise.resolve();

const say = (said: Said): void => postMessage(said);

/** The meshes that the page has, by name. */
const there = new Map<string, Mesh>();

/** Sends a part; a mesh that the page has is not sent again. */
function sayPart(id: number, side: 'room' | 'tank', part: QuickPart): void {
  const meshes = Object.entries(part.meshes).map(([name, m]) => [name, there.get(name) === m ? ('as before' as const) : m] as const);
  for (const [name, m] of Object.entries(part.meshes)) there.set(name, m);
  say({ id, side, part: { ...part, meshes: Object.fromEntries(meshes) }, done: false });
}

/** Lets messages in; a timer would wait some ms each time. */
const gate = new MessageChannel();
const breathe = (): Promise<void> =>
  new Promise((done) => {
    gate.port1.onmessage = () => done();
    gate.port2.postMessage(0);
  });

/** Runs a turn once the one before it has ended, which it does soon where it is not the newest any more. */
function run(id: number, turn: (context: Context) => Promise<void>): void {
  newest = Math.max(newest, id);
  const cancelled = (): boolean => id !== newest;
  const context: Context = {
    ...inlineContext,
    cancelled,
    pool: {
      ...inlineContext.pool,
      map: async (task, args) => {
        await breathe();
        return inTurn(task, args);
      },
    },
  };
  before = before.then(async () => {
    if (cancelled()) return;
    try {
      await turn(context);
    } catch (e) {
      if (!(e instanceof Fault && e.code === 'cancelled')) say({ id, error: e instanceof Error ? e.message : String(e) });
    }
  });
}

function roomSide({ id, header, bytes, settings, tank }: Extract<ToRoom, { bytes: unknown }>): void {
  let room: QuickRoom;
  // The room that the tank's side has.
  let sent = '';
  run(id, async () => {
    room = new QuickRoom(readCoarse(header, bytes), settings);
  });
  addEventListener('message', ({ data }: MessageEvent<ToRoom>) => {
    if (!('dials' in data)) return;
    const { id, dials } = data;
    run(id, async (context) => {
      let told = false;
      for await (const part of room.turn(dials, context)) {
        const { found } = room;
        if (found && tank && !told) {
          const { key, field } = found;
          tank.postMessage({ id, dials, key, ...(key === sent ? {} : { field }) } satisfies ToTank);
          sent = key;
          told = true;
        }
        sayPart(id, 'room', part);
        await breathe();
      }
      say({ id, side: 'room', part: undefined, done: true });
    });
  });
}

function tankSide({ settings, room }: Extract<ToTank, { room: unknown }>): void {
  const tank = new QuickTank(settings);
  let field: Extract<ToTank, { dials: unknown }>['field'];
  room.onmessage = ({ data }: MessageEvent<ToTank>) => {
    if (!('dials' in data)) return;
    field = data.field ?? field;
    const { id, dials, key } = data;
    const found = field && { key, field };
    run(id, async (context) => {
      if (found)
        for await (const part of tank.turn(found, dials, context)) {
          sayPart(id, 'tank', part);
          await breathe();
        }
      say({ id, side: 'tank', part: undefined, done: true });
    });
  };
}

addEventListener(
  'message',
  ({ data }: MessageEvent<ToRoom | ToTank>) => {
    if ('header' in data) roomSide(data);
    else if ('room' in data) tankSide(data);
  },
  { once: true },
);
