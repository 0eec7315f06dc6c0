import type { WriteStream } from 'node:tty';

/** Shows how far a run is. Everything goes to stderr: stdout belongs to the results. */
export interface Progress {
  /** The present stage's name and the share of the whole run that is done, 0..1. */
  readonly progress: (stage: string, done: number) => void;
  /** Removes the bar; call before anything else is printed and at the end. */
  readonly end: () => void;
}

type Out = Pick<WriteStream, 'write'> & { isTTY?: boolean; columns?: number };

const BAR = 24;
/** Between two redraws on a terminal, and between two lines elsewhere, ms. */
const REDRAW = 100;
const LINE_EVERY = 10_000;

/** A bar on a terminal, plain lines anywhere else: one at the start of a stage, and one every ten seconds of a long one. */
export function showProgress(out: Out, now: () => number = () => performance.now()): Progress {
  return out.isTTY && process.env['TERM'] !== 'dumb' ? bar(out, now) : lines(out, now);
}

/** Follows a run and tells the time that it still needs. */
class Pace {
  private name = '';
  private begun: number | undefined;

  /** Whether `name` is a new stage. */
  enter(name: string, time: number): boolean {
    this.begun ??= time;
    const fresh = name !== this.name;
    this.name = name;
    return fresh;
  }

  /** ", 6 s left" at the pace so far, or nothing too early to tell. */
  left(done: number, time: number): string {
    const spent = (time - (this.begun ?? time)) / 1000;
    return done >= 0.05 && spent >= 1 && done < 1 ? `, ${timeText((spent * (1 - done)) / done)} left` : '';
  }
}

const share = (done: number): number => Math.min(1, Math.max(0, done));

export function timeText(seconds: number): string {
  if (seconds < 1) return 'a moment';
  return seconds < 99.5 ? `${Math.round(seconds)} s` : `${Math.round(seconds / 60)} min`;
}

function bar(out: Out, now: () => number): Progress {
  const pace = new Pace();
  let drawn = Number.NEGATIVE_INFINITY;
  let shown = false;
  return {
    progress: (name, done) => {
      const time = now();
      const fresh = pace.enter(name, time);
      if (!fresh && done < 1 && time - drawn < REDRAW) return;
      drawn = time;
      shown = true;
      const filled = Math.round(share(done) * BAR);
      const left = pace.left(done, time);
      const text = `${'='.repeat(filled)}${'.'.repeat(BAR - filled)} ${String(Math.round(share(done) * 100)).padStart(3)} %  ${name}${left}`;
      // Never a full line: it would wrap on a narrow terminal and leave pieces behind.
      out.write(`\r\u001b[2K${text.slice(0, Math.max(10, (out.columns || 80) - 1))}`);
    },
    end: () => {
      if (shown) out.write('\r\u001b[2K');
      shown = false;
    },
  };
}

function lines(out: Out, now: () => number): Progress {
  const pace = new Pace();
  let printed = Number.NEGATIVE_INFINITY;
  return {
    progress: (name, done) => {
      const time = now();
      const fresh = pace.enter(name, time);
      if (!fresh && time - printed < LINE_EVERY) return;
      printed = time;
      const left = pace.left(done, time);
      out.write(`${name}${fresh ? '' : ` ${Math.round(share(done) * 100)} %`}${left}\n`);
    },
    end: () => {},
  };
}
