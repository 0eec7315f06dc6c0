import type { Vec3 } from '../src/core/vec.ts';
import { make, part } from './dom.ts';
import type { Drawing } from './drawing.ts';
import type { ResultFile } from './result.ts';

/** A place that a figure speaks of. */
export interface Place {
  readonly words: string;
  readonly at: Vec3;
  /** A hole: of these there may be very many, those that matter most first. */
  readonly hole?: true;
}

/** Holes that are listed at once; the rest lies under a fold, or is only counted on paper. */
export const FEW_HOLES = 8;

const litres = (v: number): string => `${v < 1 ? v.toFixed(2) : v.toFixed(1)} l`;

/** The places in a result: largest ball, necks, outlets, where neighbours come nearest, holes to scan again. */
export function placesOf(r: ResultFile): Place[] {
  const out: Place[] = [];
  const ball = r.envelope?.largest_ball;
  if (ball) out.push({ words: `Middle of the largest ball, ${(ball.radius_mm * 2).toFixed(0)} mm across`, at: ball.centre_mm });
  for (const n of r.envelope?.necks ?? []) {
    const between = n.between?.length ? ` between ${n.between.join(' and ')}` : '';
    const passed = n.passed === false ? ', too narrow for the ball' : '';
    out.push({ words: `Neck of ${n.diameter_mm.toFixed(0)} mm${between}: ${litres(n.behind_l)} behind it${passed}`, at: n.at_mm });
  }
  const { tank } = r;
  if (tank?.filler_mm) out.push({ words: 'Filler', at: tank.filler_mm });
  for (const at of tank?.vent_mm ?? []) out.push({ words: 'Vent', at });
  for (const at of tank?.pickup_mm ?? []) out.push({ words: 'Pickup', at });
  for (const c of r.closest ?? []) out.push({ words: `Nearest to ${c.scan}: ${c.gap_mm.toFixed(1)} mm, ${c.asked_mm} asked`, at: c.at_mm });
  for (const h of r.holes ?? [])
    out.push({ words: `Hole in ${h.scan}, ${h.length_mm.toFixed(0)} mm round: scan again`, at: h.at_mm, hole: true });
  return out;
}

/** The list of places: pressing one marks it on the drawing with its number and brings it to the middle; again takes the mark away. */
export function placesPanel(r: ResultFile, drawing: Drawing): void {
  const places = placesOf(r);
  if (places.length === 0) return;
  const marks = make('div', { class: 'marks', 'aria-hidden': 'true' });
  part('stage').append(marks);
  const marked = new Set<number>();
  const place = (): void => {
    marks.replaceChildren(
      ...[...marked].map((i) => {
        const mark = make('i', { class: 'mark number' }, String(i + 1));
        const at = drawing.stage.toScreen(places[i].at);
        mark.style.left = `${at.x}px`;
        mark.style.top = `${at.y}px`;
        return mark;
      }),
    );
  };
  const lines = places.map((p, i) => {
    const button = make('button', { type: 'button', 'aria-pressed': 'false' }, p.words);
    button.addEventListener('click', () => {
      const on = !marked.delete(i);
      if (on) marked.add(i);
      button.setAttribute('aria-pressed', String(on));
      if (on) drawing.stage.setEye({ ...drawing.stage.eye(), at: p.at });
      else place();
    });
    return make('li', {}, button);
  });
  // Holes come last.
  const open = places.length - Math.max(0, places.filter((p) => p.hole).length - FEW_HOLES);
  part('places').append(make('ol', {}, ...lines.slice(0, open)));
  if (open < lines.length) {
    const rest = make('ol', { start: String(open + 1) }, ...lines.slice(open));
    part('places').append(make('details', {}, make('summary', {}, `${lines.length - open} more holes, farther off or smaller`), rest));
  }
  part('places').hidden = false;
  drawing.stage.onDraw.push(place);
}
