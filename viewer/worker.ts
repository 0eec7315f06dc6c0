import { inlineContext } from '../src/parallel/inline.ts';
import { readCoarse } from '../src/report/coarse.ts';
import type { FromWorker, ToWorker } from './engine.ts';
import { Quick } from './quick.ts';

/** The page's second thread: holds the coarse fields and answers each turn of the dials, in parts; a newer turn ends an older one. */
let quick: Quick | undefined;
let newest = 0;

const say = (reply: FromWorker): void => postMessage(reply);
/** Lets messages in. */
const breathe = (): Promise<void> => new Promise((done) => setTimeout(done, 0));

async function turn({ id, dials }: Extract<ToWorker, { dials: unknown }>): Promise<void> {
  if (!quick) throw new Error('the dials came before the fields');
  let last: FromWorker | undefined;
  for await (const result of quick.turn(dials, { ...inlineContext, cancelled: () => id !== newest })) {
    if (id !== newest) return;
    last = { id, result, done: false };
    say(last);
    await breathe();
    if (id !== newest) return;
  }
  if (last && 'result' in last) say({ ...last, done: true });
}

addEventListener('message', (event: MessageEvent<ToWorker>) => {
  const { data } = event;
  newest = data.id;
  const run = async (): Promise<void> => {
    if ('dials' in data) return turn(data);
    quick = new Quick(readCoarse(data.header, data.bytes), data.settings);
  };
  run().catch((e: unknown) => {
    if (data.id === newest) say({ id: data.id, error: e instanceof Error ? e.message : String(e) });
  });
});
