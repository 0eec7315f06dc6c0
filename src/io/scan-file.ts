import type { Cloud } from '../core/cloud.ts';
import type { Note } from '../core/fault.ts';
import type { Mesh } from '../core/mesh.ts';
import type { LengthUnit } from '../core/units.ts';

/**
 * One group, object, node, item or solid of a scan file: faces, or points without faces, or (a glTF node with both) one of each.
 * Lengths are in the FILE's unit; the caller scales to mm.
 */
export interface ScanPart {
  /** As the file names it, made unique within the file; the file's own name where it says nothing. */
  readonly name: string;
  readonly mesh?: Mesh;
  readonly cloud?: Cloud;
}

/** What a reader found in one file. */
export interface ScanFile {
  /** In plain words, such as `STL (binary)` or `PLY (ASCII) in gzip`. */
  readonly format: string;
  /** The unit that the file itself states (glTF: metres; 3MF: its own), else null. */
  readonly unit: LengthUnit | null;
  /** At least one; each with at least one triangle or point. */
  readonly parts: readonly ScanPart[];
  /** What was left out or decided by rule. */
  readonly notes: readonly Note[];
}
