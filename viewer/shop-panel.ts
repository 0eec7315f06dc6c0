import { spawnShop } from '#spawn';
import { LENGTH_UNITS } from '../src/core/units.ts';
import { JOB_DEFAULTS, REGION_DEFAULTS, TANK_DEFAULTS } from '../src/job/defaults.ts';
import { scanName, suggestRole } from '../src/job/new-job.ts';
import { freshId, make, part } from './dom.ts';
import type { SentThing, ShopOrder, ShopSaid } from './shop-worker.ts';

/** What the page measured by itself. */
export interface ShopResult {
  readonly files: ReadonlyMap<string, Uint8Array<ArrayBuffer>>;
  readonly things: readonly SentThing[];
}

interface Choice {
  readonly file: File;
  readonly role: HTMLSelectElement;
  readonly clearance: HTMLInputElement;
}

const ROLES = ['obstacle', 'removed', 'ignore'] as const;
const ROLE_WORDS = { obstacle: 'keep clear of it', removed: 'was taken out', ignore: 'leave it out' } as const;

/**
 * The page without a result: scans are dropped, with a job file or a short form instead, and the whole job is done here. Nothing
 * leaves the machine. Resolves with what was found.
 */
export function shopPanel(): Promise<ShopResult> {
  const host = part('shop');
  const files: File[] = [];
  let choices: Choice[] = [];
  const input = make('input', { type: 'file', id: freshId(), multiple: true });
  const drop = make(
    'div',
    { class: 'drop' },
    make('label', { for: input.id }, 'Scan files, and a job file if there is one:'),
    input,
    make('p', {}, 'or drop them anywhere on this page.'),
  );
  const list = make('div', {});
  const form = shopForm();
  const go = make('button', { type: 'button', class: 'go' }, 'measure');
  const stop = make('button', { type: 'button', hidden: true }, 'stop');
  const bar = make('progress', { max: '1', value: '0', hidden: true, 'aria-label': 'Progress' });
  const says = make('pre', { role: 'status', id: 'shop-says' });
  host.append(drop, list, form.element, make('p', { class: 'words' }, go, stop), bar, says);
  host.hidden = false;

  const take = (more: Iterable<File>): void => {
    for (const f of more) {
      const at = files.findIndex((g) => g.name === f.name);
      if (at >= 0) files[at] = f;
      else files.push(f);
    }
    const job = files.find(isJob);
    form.element.hidden = job !== undefined;
    choices = job ? [] : files.map((file) => choiceOf(file, files.length));
    list.replaceChildren(
      ...(job
        ? [
            make(
              'p',
              {},
              `The job file ${job.name} says what is what. With it: ${
                files
                  .filter((f) => f !== job)
                  .map((f) => f.name)
                  .join(', ') || 'no scans yet'
              }.`,
            ),
          ]
        : choices.map(choiceLine)),
    );
    says.textContent = '';
  };
  input.addEventListener('change', () => take(input.files ?? []));
  addEventListener('dragover', (e) => e.preventDefault());
  addEventListener('drop', (e) => {
    e.preventDefault();
    if (!host.hidden) take(e.dataTransfer?.files ?? []);
  });

  return new Promise((done) => {
    let worker: Worker | undefined;
    const rest = (words: string): void => {
      worker?.terminate();
      worker = undefined;
      go.disabled = false;
      stop.hidden = true;
      bar.hidden = true;
      says.textContent = words;
    };
    stop.addEventListener('click', () => rest('Stopped. Nothing was kept.'));
    go.addEventListener('click', async () => {
      const job = files.find(isJob);
      if (files.length === (job ? 1 : 0)) return rest('No scans yet: choose or drop at least one.');
      go.disabled = true;
      stop.hidden = false;
      bar.hidden = false;
      const order: ShopOrder = {
        job: job ? await job.text() : form.job(choices),
        jobName: job?.name ?? 'the form',
        files: files.filter((f) => f !== job),
        workers: Math.max(1, Math.min(8, navigator.hardwareConcurrency - 1)),
        version: VOIDGAUGE_VERSION,
      };
      worker = await spawnShop();
      worker.addEventListener('error', (e) => rest(`The second thread failed: ${e.message || 'it did not start'}`));
      worker.addEventListener('message', ({ data }: MessageEvent<ShopSaid>) => {
        if ('fault' in data) rest(data.fault);
        else if ('stage' in data) {
          says.textContent = `${data.stage}…`;
          bar.value = data.done;
        } else {
          rest('');
          host.hidden = true;
          done(data);
        }
      });
      worker.postMessage(order);
    });
  });
}

const isJob = (f: File): boolean => /\.ya?ml$/i.test(f.name);

function choiceOf(file: File, count: number): Choice {
  const role = make('select', { 'aria-label': `What ${file.name} is` }, ...ROLES.map((r) => make('option', { value: r }, ROLE_WORDS[r])));
  role.value = suggestRole(file.name, count);
  const clearance = make('input', {
    type: 'number',
    min: '0',
    step: '0.5',
    value: String(JOB_DEFAULTS.clearance),
    'aria-label': `Clearance to ${file.name}, mm`,
  });
  return { file, role, clearance };
}

const choiceLine = ({ file, role, clearance }: Choice): HTMLElement =>
  make('div', { class: 'choice' }, make('b', {}, file.name), role, make('span', {}, 'clearance'), clearance, make('span', {}, 'mm'));

/** The short form: what a job needs at least. */
function shopForm(): { element: HTMLElement; job(choices: readonly Choice[]): string } {
  const line = <E extends HTMLElement>(label: string, e: E): E => {
    e.id = freshId();
    element.append(make('div', { class: 'choice' }, make('label', { for: e.id }, label), e));
    return e;
  };
  const number = (value: number, step: string): HTMLInputElement => make('input', { type: 'number', min: '0', step, value: String(value) });
  const element = make('div', { class: 'form' });
  const units = line('Unit of files that name none', make('select', {}, ...LENGTH_UNITS.map((u) => make('option', {}, u))));
  units.value = JOB_DEFAULTS.units;
  const step = line('Cell, mm (larger is quicker)', number(4, '0.5'));
  const radius = line('Least radius, mm', number(JOB_DEFAULTS.least_radius, '0.5'));
  const within = line('Room within so many mm of the part taken out', number(REGION_DEFAULTS.within, '5'));
  const wall = line('Wall of a tank, mm', number(4, '0.5'));
  return {
    element,
    // JSON is YAML too.
    job: (choices) => {
      const names: string[] = [];
      const scans = choices.map((c) => {
        const name = scanName(c.file.name, names);
        names.push(name);
        return [name, { file: c.file.name, role: c.role.value, clearance: Number(c.clearance.value) }] as const;
      });
      const removed = scans.find(([, s]) => s.role === 'removed');
      return JSON.stringify({
        voidgauge: 1,
        name: 'Measured in the page',
        units: units.value,
        step: Number(step.value),
        scans: Object.fromEntries(scans),
        region: { skin: REGION_DEFAULTS.skin, ...(removed ? { near: { scan: removed[0], within: Number(within.value) } } : {}) },
        least_radius: Number(radius.value),
        tank: Number(wall.value) > 0 ? { wall: Number(wall.value), fluid: TANK_DEFAULTS.fluid } : false,
      });
    },
  };
}
