import type { JobChanges } from '../src/job/changes.ts';
import { make, part } from './dom.ts';

/** What the server says of a run, see cli/again.ts. */
interface Answer {
  readonly state: 'none' | 'running' | 'stopped' | 'failed' | 'done';
  readonly token: string;
  readonly why?: string;
  readonly step_mm?: number;
  readonly stage?: string;
  readonly done?: number;
  readonly says?: string;
  readonly page?: string;
  readonly folder?: string;
}

/** Between two looks at how far a run is, ms. */
const LOOK_EVERY = 400;

export interface AgainPanel {
  /** What a run would take in place of the job's own; undefined when nothing differs. */
  offer(changes: JobChanges | undefined): void;
}

/**
 * The fine run from the page: one button that has the server measure the job again with what the dials say, how far it is, a button to stop it, and
 * at its end the way to the new result.
 */
export function againPanel(): AgainPanel {
  const go = make('button', { type: 'button', class: 'go' }, 'fine run with these dials');
  const stop = make('button', { type: 'button', hidden: true }, 'stop');
  const bar = make('progress', { max: '1', value: '0', hidden: true, 'aria-label': 'How far the fine run is' });
  const says = make('p', { role: 'status', id: 'again-says' });
  const box = make('div', { id: 'again' }, go, stop, bar, says);
  part('for-job').before(box);
  let changes: JobChanges | undefined;
  let last: Answer | undefined;
  let looking = 0;

  const draw = (): void => {
    const running = last?.state === 'running';
    go.disabled = running || !changes || last?.why !== undefined;
    stop.hidden = !running;
    bar.hidden = !running;
    bar.value = last?.done ?? 0;
    says.replaceChildren(...words(last, changes !== undefined));
  };
  const take = (answer: Answer): void => {
    last = answer;
    clearTimeout(looking);
    if (answer.state === 'running') looking = window.setTimeout(() => ask('GET'), LOOK_EVERY);
    draw();
  };
  const ask = async (method: 'GET' | 'POST' | 'DELETE', body?: JobChanges): Promise<void> => {
    try {
      const order = { 'x-voidgauge-token': last?.token ?? '', ...(body ? { 'content-type': 'application/json' } : {}) };
      const got = await fetch('run', {
        method,
        cache: 'no-store',
        headers: method === 'GET' ? {} : order,
        body: body && JSON.stringify(body),
      });
      const answer: Partial<Answer> = await got.json();
      if (got.ok) take({ state: 'none', token: '', ...answer });
      else
        take({
          token: last?.token ?? '',
          step_mm: last?.step_mm,
          state: 'failed',
          says: answer.says ?? `The server refused it (${got.status}).`,
        });
    } catch {
      take({ token: '', state: 'failed', says: 'The program that shows this page has ended.' });
    }
  };
  go.addEventListener('click', () => changes && ask('POST', changes));
  stop.addEventListener('click', () => ask('DELETE'));
  ask('GET');
  draw();
  return {
    offer: (next) => {
      changes = next;
      draw();
    },
  };
}

function words(a: Answer | undefined, differs: boolean): (Node | string)[] {
  if (!a) return [];
  if (a.why !== undefined) return [`No fine run from here. ${a.why}`];
  if (a.state === 'running') return [`${a.stage ?? ''}, ${Math.round(100 * (a.done ?? 0))} %`];
  if (a.state === 'failed') return [a.says ?? 'The run failed.'];
  if (a.state === 'stopped') return ['Stopped. Nothing was written.'];
  if (a.state === 'done' && a.page !== undefined)
    return [
      `Measured into ${a.folder}, beside this result. `,
      make('a', { href: new URL(a.page, new URL('/', location.href)).pathname + viewOnly(), id: 'again-open' }, 'Open it'),
    ];
  return [differs ? `At the job's own ${a.step_mm} mm cells, into a new folder beside this result.` : 'Turn a dial to ask for a fine run.'];
}

/** The view as it stands, without the dials: the new result starts from them. */
const viewOnly = (): string =>
  `#${location.hash
    .replace(/^#/, '')
    .split('&')
    .filter((p) => p && !p.startsWith('dials='))
    .join('&')}`;
