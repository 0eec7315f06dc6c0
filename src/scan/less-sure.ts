/** An obstacle whose surface is less sure than the job's accuracy says. */
export interface LessSure {
  readonly name: string;
  /** Share of the envelope's surface that it bounds. */
  readonly percent: number;
  /** How far that surface may be off besides the job's accuracy, mm: `doubt` as the job says, its placing, its points' noise. */
  readonly doubt_mm: number;
  readonly placing_mm: number;
  readonly points_mm: number;
}
