import type { Note } from '../core/fault.ts';
import { PROCESSES } from '../job/defaults.ts';
import { lessSureNotes } from './accuracy.ts';
import type { Space } from './space.ts';

/** What makes the figures less sure than their bounds say. */
export function addDoubts(notes: Note[], { job, step, envelope, scans, accuracy }: Space): void {
  if (step > job.least_radius / 2)
    notes.push({
      code: 'coarse-step',
      text: `The step of ${step} mm is coarse for a least radius of ${job.least_radius} mm; half the radius or less reads narrow places better.`,
    });
  const { nx, ny, nz } = envelope.grid;
  let cut = 0;
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++)
      for (let i = 0; i < nx; i++)
        if ((i === 0 || j === 0 || k === 0 || i === nx - 1 || j === ny - 1 || k === nz - 1) && envelope.data[i + nx * (j + ny * k)] > 0)
          cut++;
  if (cut > 0)
    notes.push({ code: 'region-cut', text: `The envelope reaches the edge of the grid (${cut} cells): the region cuts it there.` });
  notes.push(...lessSureNotes(accuracy));
  const named = job.tank ? job.tank.process : null;
  const process = named ? PROCESSES[named] : null;
  if (process?.shrinkage)
    notes.push({
      code: 'mould-shrinkage',
      text: `For information: ${process.title} comes out ${process.shrinkage.map((k) => +(100 * k).toFixed(1)).join(' to ')} % smaller than its mould (common practice; ask the moulder). The figures are of the finished part.`,
    });
  for (const s of scans) if (s.settings.note) notes.push({ code: 'scan-note', text: `${s.name}: ${s.settings.note}`, where: s.name });
}
