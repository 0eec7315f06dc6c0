import type { Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import type { Vec3 } from '../core/vec.ts';
import type { JobMake } from '../job/schema-make.ts';
import type { JobRibs } from '../job/schema-ribs.ts';
import type { JobSections } from '../job/schema-sections.ts';
import { drawingPage } from '../make/drawing.ts';
import { ribKit } from '../make/ribs.ts';
import { type RibReport, ribFiles } from '../make/ribs-files.ts';
import { type SectionSubject, type Sections, sectionFiles, sections } from '../make/sections.ts';
import { loadSolids } from '../make/simplify.ts';
import { DRAWING_FILE } from '../report/files.ts';
import type { Run } from './run.ts';
import { titleOf } from './sheet.ts';
import type { Space } from './space.ts';
import { fillTank } from './tank.ts';

/** What is said of sections in a manifest. */
export interface SectionReport {
  readonly axis: Vec3;
  readonly stations_mm: readonly number[];
  /** Greatest distance of an outline from its fitted arcs. */
  readonly deviation_mm: number;
}

export interface Drawn {
  readonly sections?: SectionReport;
  readonly ribs?: RibReport;
}

/** What is drawn: a body in the space that was found, and the way along which it goes in, where that was asked. */
export interface Subject {
  readonly space: Space;
  readonly body: Field;
  readonly along?: Vec3;
}

/** Sections, drawing page and rib kit of the body, as far as the job asks for them; files go to `out` by name. */
export async function drawForWorkshop(asked: JobMake, subject: Subject, run: Run, out: Map<string, Uint8Array>): Promise<Drawn> {
  const take = (files: ReadonlyMap<string, string>): void => {
    for (const [name, text] of files) out.set(name, new TextEncoder().encode(text));
  };
  let drawn: Drawn = {};
  if (asked.sections || asked.drawing) {
    const things = await thingsToCut(subject, run);
    const cut = asked.sections ? cutSections(things, asked.sections, run) : undefined;
    if (cut) {
      take(sectionFiles(cut));
      drawn = { sections: { axis: cut.axis, stations_mm: cut.list.map((s) => s.station), deviation_mm: cut.deviation } };
    }
    if (asked.drawing) take(new Map([[DRAWING_FILE, drawingPage(subject.body, cut, { ...asked.drawing, ...titleOf(subject) })]]));
    run.done('sections');
  }
  if (asked.ribs) {
    const { files, report, notes } = await ribsOf(subject, asked.ribs, run);
    take(files);
    run.notes.push(...notes);
    drawn = { ...drawn, ribs: report };
    run.done('rib kit');
  }
  return drawn;
}

async function thingsToCut({ space, body }: Subject, run: Run): Promise<SectionSubject> {
  const { envelope, free, obstacles, job } = space;
  // The tank's cavity is that of the envelope: it is none of a smaller body's.
  const cavity = job.tank && body === envelope ? (await fillTank(job.tank, space, run)).cavity : undefined;
  return { body, slack: free, cavity, obstacles: obstacles.map(({ name, mesh, radius }) => ({ name, mesh, radius })) };
}

function cutSections(subject: SectionSubject, { at, ...asked }: JobSections, run: Run): Sections {
  const cut = sections(subject, { ...asked, at: at ?? undefined }, run.context);
  run.notes.push(...cut.notes);
  return cut;
}

async function ribsOf(
  { body, along: way }: Subject,
  asked: JobRibs,
  run: Run,
): Promise<{ files: Map<string, string>; report: RibReport; notes: readonly Note[] }> {
  const lib = await loadSolids();
  const { hand_hole: hole, sheet, margin, gap, along, ...rest } = asked;
  const options = {
    ...rest,
    hand_hole: hole === false ? null : { width: hole[0], height: hole[1] },
    along: along ?? way,
  };
  const kit = ribKit(body, options, lib, run.context);
  const { files, report } = ribFiles(kit, { width: sheet[0], height: sheet[1], margin, gap }, lib);
  return { files, report, notes: kit.notes };
}
