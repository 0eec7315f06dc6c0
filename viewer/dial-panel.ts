import type { CoarseHeader } from '../src/report/coarse.ts';
import { type Dial, dialsFor, firstDials, readDials, sameDials, writeDials } from './dial-state.ts';
import { freshId, make, part } from './dom.ts';
import type { Dials } from './quick.ts';
import type { ResultFile } from './result.ts';

export interface DialPanel {
  /** Where the dials stand, for the address. */
  address(): string;
  /** Sets them from an address. */
  read(text: string): void;
}

/**
 * "What if": one line a dial, a slider and a number; each neighbour's clearance apart under a fold; and a way back. `turned` is told
 * the dials, or undefined when they stand as in the fine run.
 */
export function dialPanel(r: ResultFile, header: CoarseHeader, turned: (d: Dials | undefined) => void): DialPanel {
  const first = firstDials(r);
  let now = first;
  const updates: (() => void)[] = [];
  const set = (next: Dials): void => {
    now = next;
    for (const u of updates) u();
    back.disabled = sameDials(now, first);
    turned(back.disabled ? undefined : now);
  };
  const line = (label: string, range: Omit<Dial, 'key' | 'label'>, get: () => number, put: (v: number) => void): HTMLElement => {
    const id = freshId();
    const attributes = { min: String(range.min), max: String(range.max), step: String(range.step) };
    const slider = make('input', { type: 'range', id, ...attributes });
    const number = make('input', { type: 'number', 'aria-label': `${label}, ${range.unit}`, ...attributes });
    const take = (text: string): void => {
      const v = Number(text);
      if (text !== '' && Number.isFinite(v)) put(Math.min(range.max, Math.max(range.min, v)) * range.per);
    };
    slider.addEventListener('input', () => take(slider.value));
    number.addEventListener('change', () => take(number.value));
    const show = (): void => {
      const text = String(Number((get() / range.per).toFixed(2)));
      slider.value = text;
      number.value = text;
    };
    updates.push(show);
    show();
    return make('div', { class: 'dial' }, make('label', { for: id }, label), slider, number, make('span', {}, range.unit));
  };
  const back = make('button', { type: 'button' }, 'as measured');
  back.disabled = true;
  back.addEventListener('click', () => set(first));
  const main = dialsFor(r, header).map((d) => {
    const row = line(
      d.label,
      d,
      () => now[d.key],
      (v) => set({ ...now, [d.key]: v }),
    );
    row.dataset.dial = d.key;
    return row;
  });
  const each = header.obstacles
    .filter((o) => !o.mates)
    .map((o) =>
      line(
        o.name,
        { unit: 'mm', min: 0, max: Math.max(40, o.clearance * 2), step: 0.5, per: 1 },
        () => now.clearances[o.name] ?? o.clearance,
        (v) => set({ ...now, clearances: { ...now.clearances, [o.name]: v } }),
      ),
    );
  const fold = make('details', {}, make('summary', {}, 'Clearance of each neighbour'), ...each);
  part('for-job').before(...main, ...(each.length > 1 ? [fold] : []), back);
  part('dials').hidden = false;
  return {
    address: () => writeDials(now, first),
    read: (text) => set(text ? readDials(text, first) : first),
  };
}
