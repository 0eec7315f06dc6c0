import * as z from 'zod';
import { LENGTH_UNITS, parseLength } from '../core/units.ts';
import type { Vec3 } from '../core/vec.ts';

/**
 * The small pieces that the sections of a job file are made of. Every message here is a phrase that completes "expected ...";
 * a `hint` in an issue's params says what to do about it. Which keys exist is told to the fault by `section`.
 */

export type DeepReadonly<T> = T extends object ? { readonly [K in keyof T]: DeepReadonly<T[K]> } : T;

const LENGTH = `a length: a number in mm, or a number with its unit (${LENGTH_UNITS.join(', ')})`;

/** An object that refuses unknown keys; the message of that refusal lists the known ones. */
export const section = <S extends z.core.$ZodLooseShape>(shape: S) =>
  z.strictObject(shape, { error: (issue) => (issue.code === 'unrecognized_keys' ? Object.keys(shape).join(', ') : undefined) });

/** A length in mm, from a number or a text with a unit. `least` mm is allowed, unless `above`, which asks for more than it. */
export function length(bounds: { least?: number; above?: number } = {}) {
  return z.union([z.number(), z.string()], { error: LENGTH }).transform((value, context) => {
    const mm = typeof value === 'number' ? value : parseLength(value);
    const refuse = (message: string, hint?: string): void => void context.addIssue({ code: 'custom', message, params: { hint } });
    if (!Number.isFinite(mm)) refuse(LENGTH, /\d,\d/.test(String(value)) ? 'write decimals with a point' : undefined);
    else if (bounds.least !== undefined && mm < bounds.least) refuse(`a length of at least ${bounds.least} mm`);
    else if (bounds.above !== undefined && mm <= bounds.above) refuse(`a length of more than ${bounds.above} mm`);
    return mm;
  });
}

/** A point, [x, y, z] in mm; each may carry a unit. */
export const point = () => z.tuple([length(), length(), length()], { error: 'a point [x, y, z], mm' });

/** A direction [x, y, z] of any length but zero; comes out with length 1. */
export const direction = () =>
  z.tuple([z.number(), z.number(), z.number()], { error: 'a direction [x, y, z]' }).transform((v, context): [number, number, number] => {
    const size = Math.hypot(...v);
    if (!(size > 0)) context.addIssue({ code: 'custom', message: 'a direction [x, y, z] that is not zero' });
    // A unit vector stays as it is to the last bit, so a job that is written out and read again is the same job.
    return Math.abs(size - 1) < 1e-12 || size === 0 ? v : [v[0] / size, v[1] / size, v[2] / size];
  });

/** Turns about x, then y, then z, degrees. */
export const turns = () => z.tuple([z.number(), z.number(), z.number()], { error: 'three turns in degrees, about x, then y, then z' });

/** A share 0..below: a fraction, or a text with a percent sign. */
export const share = (below: number) =>
  z.union([z.number(), z.string()], { error: 'a share such as "5 %" or 0.05' }).transform((value, context) => {
    const match = typeof value === 'string' ? /^\s*(\d+\.?\d*|\.\d+)\s*(%?)\s*$/.exec(value) : null;
    const fraction = typeof value === 'number' ? value : match ? Number(match[1]) / (match[2] ? 100 : 1) : Number.NaN;
    if (!(fraction >= 0 && fraction < below)) {
      const hint = fraction >= 1 ? `write "${fraction} %" if percent was meant` : undefined;
      context.addIssue({
        code: 'custom',
        message: `a share from 0 to less than ${below * 100} %, such as "5 %" or 0.05`,
        params: { hint },
      });
    }
    return fraction;
  });

/** Memory in GB (1e9 bytes), from a number or a text such as "900 MB". */
export const memory = () =>
  z.union([z.number(), z.string()], { error: 'memory such as "2 GB"' }).transform((value, context) => {
    const match = /^\s*(\d+\.?\d*|\.\d+)\s*(GB|MB)?\s*$/i.exec(String(value));
    const gb = match ? Number(match[1]) * (match[2]?.toUpperCase() === 'MB' ? 1e-3 : 1) : Number.NaN;
    if (!(gb > 0 && gb <= 1e6)) context.addIssue({ code: 'custom', message: 'memory such as "2 GB" or "900 MB"; a bare number is in GB' });
    return gb;
  });

/** What a section's cross-checks report: a place in the job and why it does not do. */
export type Report = (
  path: readonly (string | number)[],
  detail: { code: string; what: string; got?: string; expected?: string; hint?: string },
) => void;

/** A point as text, for messages. */
export const pointText = (p: Vec3): string => `[${p.map((v) => Number(v.toFixed(3))).join(', ')}]`;
