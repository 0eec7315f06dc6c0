import { existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { request, type Server } from 'node:http';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { AgainAnswer } from '../../cli/again.ts';
import { serveFolders } from '../../cli/server.ts';
import { bytesSource } from '../../src/io/source.ts';
import { changedJob } from '../../src/job/changes.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { measure } from '../../src/pipeline/measure.ts';
import { PLATES_JOB, platesStl } from './plates.ts';

let folder: string;
let server: Server;
let port: number;
let token: string;

const STL = platesStl();
const job = parseJob(PLATES_JOB, 'job.yaml');
const measured = async (of: typeof job) =>
  JSON.parse(
    JSON.stringify(
      (await measure(of, { open: async () => ({ ...bytesSource('plates.stl', STL), digest: async () => '' }) }, inlineContext)).result,
    ),
  );

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'voidgauge-'));
  for (const name of ['page', 'jobs', 'jobs/scans', 'out', 'out-2']) mkdirSync(join(folder, name));
  writeFileSync(join(folder, 'page', 'index.html'), '<!doctype html><title>page</title>');
  writeFileSync(join(folder, 'jobs', 'scans', 'plates.stl'), STL);
  writeFileSync(join(folder, 'out', 'result.json'), JSON.stringify({ ...(await measured(job)), source: { folder: '../jobs' } }));
  writeFileSync(join(folder, 'out-2', 'mine.txt'), 'mine');
  ({ server, port } = await serveFolders({ page: join(folder, 'page'), data: join(folder, 'out') }, 0));
  token = (await ask('GET')).body.token ?? '';
});
afterAll(() => {
  server.close();
  server.closeAllConnections();
  rmSync(folder, { recursive: true, force: true });
});

interface Sent {
  headers?: Record<string, string>;
  body?: string;
  path?: string;
}

const own = (): Record<string, string> => ({
  origin: `http://127.0.0.1:${port}`,
  'content-type': 'application/json',
  'x-voidgauge-token': token,
});

interface Got {
  readonly status: number;
  readonly text: string;
  readonly body: Partial<AgainAnswer> & { readonly says?: string };
}

function ask(method: string, { headers = {}, body = '', path = '/run' }: Sent = {}): Promise<Got> {
  return new Promise((done, failed) => {
    const sent = request({ host: '127.0.0.1', port, path, method, headers, agent: false }, (response) => {
      let text = '';
      response.setEncoding('utf8').on('data', (piece: string) => {
        text += piece;
      });
      response.on('end', () => done({ status: response.statusCode ?? 0, body: text.startsWith('{') ? JSON.parse(text) : {}, text }));
    });
    sent.on('error', failed);
    sent.end(body);
  });
}

async function ended(): Promise<Got['body']> {
  for (;;) {
    const { body } = await ask('GET');
    if (body.state !== 'running') return body;
    await new Promise((done) => setTimeout(done, 50));
  }
}

const without = (key: string): Record<string, string> => Object.fromEntries(Object.entries(own()).filter(([name]) => name !== key));

describe('a run that the page asks for', () => {
  it.each([
    ['no token', () => without('x-voidgauge-token')],
    ['a wrong token', () => ({ ...own(), 'x-voidgauge-token': `${token.slice(0, -1)}!` })],
    ['a page from elsewhere', () => ({ ...own(), origin: 'http://evil.example' })],
    ['no origin', () => without('origin')],
    ['a browser that says cross-site', () => ({ ...own(), 'sec-fetch-site': 'cross-site' })],
  ])('is refused for %s', async (_what, headers) => {
    for (const method of ['POST', 'DELETE']) expect((await ask(method, { headers: headers(), body: '{"wall":5}' })).status).toBe(403);
    expect((await ask('GET')).body.state).toBe('none');
  });

  it.each([
    ['{"wall":', 400, /./],
    ['[]', 400, /./],
    ['{"walls":5}', 400, /walls[\s\S]*wall/],
    ['{"wall":-1}', 400, /more than 0/],
    ['{"wall":"thick"}', 400, /a length/],
    ['{"ullage":0.9}', 400, /a share/],
    ['{"clearances":{"plate":3}}', 400, /no obstacle "plate"[\s\S]*plates/],
    ['{"clearances":{"plates":-3}}', 400, /at least 0/],
    [`{"wall":5,"pad":"${'x'.repeat(30_000)}"}`, 413, /^$/],
  ])('is refused for the order %.40s', async (body, status, says) => {
    const got = await ask('POST', { headers: own(), body });
    expect(got.status).toBe(status);
    expect(status === 400 ? got.body.says : got.text).toMatch(says);
    expect((await ask('GET')).body.state).toBe('none');
  });

  it('is refused for another kind of body, another method, another result', async () => {
    expect((await ask('POST', { headers: { ...own(), 'content-type': 'text/plain' }, body: '{"wall":5}' })).status).toBe(415);
    expect((await ask('PUT', { headers: own(), body: '{"wall":5}' })).status).toBe(405);
    expect((await ask('POST', { headers: own(), body: '{"wall":5}', path: '/again-1/run' })).status).toBe(405);
    expect((await ask('GET', { path: '/again-1/data/result.json' })).status).toBe(404);
  });

  it('is stopped when told so, and leaves nothing', async () => {
    expect((await ask('POST', { headers: own(), body: '{"wall":5}' })).body.state).toBe('running');
    const second = await ask('POST', { headers: own(), body: '{"wall":6}' });
    expect([second.status, second.body.says]).toEqual([409, expect.stringContaining('already')]);
    expect((await ask('DELETE', { headers: own() })).body.state).toBe('stopped');
    expect(readdirSync(folder).sort()).toEqual(['jobs', 'out', 'out-2', 'page']);
  });

  it('gives what the command line gives for that job, in a new folder with a page of its own', async () => {
    const before = readFileSync(join(folder, 'out', 'result.json'), 'utf8');
    const changes = { clearances: { plates: 8 }, least_radius: 15, wall: 6, ullage: 0.1 };
    expect((await ask('POST', { headers: own(), body: JSON.stringify(changes) })).status).toBe(202);
    expect(await ended()).toMatchObject({ state: 'done', page: 'again-1/', folder: 'out-3' });
    const got = JSON.parse((await ask('GET', { path: '/again-1/data/result.json' })).text);
    const want = await measured(changedJob(job, JSON.stringify(changes)));
    expect(got.job).toEqual(want.job);
    expect(got.job).toMatchObject({ least_radius: 15, scans: { plates: { clearance: 8 } }, tank: { wall: 6, ullage: 0.1 } });
    expect([got.envelope, got.tank]).toEqual([want.envelope, want.tank]);
    expect((await ask('GET', { path: '/again-1/' })).text).toContain('<title>page</title>');
    expect((await ask('GET', { path: '/again-1/run' })).body.why).toBeUndefined();
    expect(readFileSync(join(folder, 'out', 'result.json'), 'utf8')).toBe(before);
    expect(readdirSync(join(folder, 'out-2'))).toEqual(['mine.txt']);
    expect(existsSync(join(folder, 'out-3', 'scene.glb'))).toBe(true);
  });

  it('cannot be had when the scans are gone, and says so', async () => {
    rmSync(join(folder, 'jobs', 'scans', 'plates.stl'));
    expect((await ask('GET')).body.why).toMatch(/plates\.stl is no longer where it was/);
    const got = await ask('POST', { headers: own(), body: '{"wall":5}' });
    expect([got.status, got.body.says]).toEqual([400, expect.stringContaining('plates.stl')]);
    const path = join(folder, 'out', 'result.json');
    writeFileSync(path, JSON.stringify({ ...JSON.parse(readFileSync(path, 'utf8')), source: undefined }));
    expect((await ask('GET')).body.why).toMatch(/--scans/);
  });
});
