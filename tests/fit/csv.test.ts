import { describe, expect, it } from 'vitest';
import type { Vec3 } from '../../src/core/vec.ts';
import { pathCsv, routesCsv } from '../../src/fit/csv.ts';

describe('tables for other programs', () => {
  it('hoses: a row a point with the length so far; names with commas stay one cell (RFC 4180)', () => {
    const line: Vec3[] = [
      [0, 0, 0],
      [3, 4, 0],
      [3, 4, 12],
    ];
    const none = { ok: true, why: null, diameter_mm: 8, clearance_mm: 2, bottleneck: null, length_mm: 17, bends: [], cost_l: 0 };
    const route = { ...none, name: 'fuel, "main"', least_gap_mm: 2, tightest_mm: null, tightest_to: null, line };
    const rows = routesCsv([route, { ...route, name: 'none', ok: false, line: [] }]).split('\n');
    expect(rows).toEqual([
      'hose,point,x_mm,y_mm,z_mm,along_mm',
      '"fuel, ""main""",1,0.00,0.00,0.00,0.00',
      '"fuel, ""main""",2,3.00,4.00,0.00,5.00',
      '"fuel, ""main""",3,3.00,4.00,12.00,17.00',
      '',
    ]);
  });

  it('a path: a row a pose', () => {
    const pose = { shift_mm: [1, 2, 3.0004] as const, turn_deg: [0, -90, 0.5] as const, rows: [] };
    expect(pathCsv([pose]).split('\n')[1]).toBe('1,1.000,2.000,3.000,0.0000,-90.0000,0.5000');
  });
});
