// Judges every UCUM unit in the FHIR JSON files below some folders, with a reader of UCUM that others wrote.
//
// node judge.mjs DIR…   prints each unit with its count; ends with 1 when one is not UCUM, has no code, or none was found
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import ucum from '@lhncbc/ucum-lhc';

const UCUM = 'http://unitsofmeasure.org';
const reader = ucum.UcumLhcUtils.getInstance();
const log = console.log;
console.log = () => {}; // the reader says there what it also returns

const valid = (code) => reader.validateUnitString(code).status === 'valid';

// A judge that accepts these, which UCUM (version 2.1, https://ucum.org/ucum) has not, can judge nothing.
for (const wrong of ['millimetre', 'MM', 'mm per h', 'points', 'µm²']) {
  if (valid(wrong)) throw new Error(`the reader of UCUM takes "${wrong}"`);
}

const seen = new Map(); // code to count
const wrong = new Set();

function walk(value, path, file) {
  if (Array.isArray(value)) return value.forEach((item, i) => walk(item, `${path}[${i}]`, file));
  if (value === null || typeof value !== 'object') return;
  if (value.system === UCUM && !('display' in value)) {
    seen.set(value.code, (seen.get(value.code) ?? 0) + 1);
    if (typeof value.code !== 'string' || !valid(value.code)) wrong.add(`${file} ${path}: "${value.code}" is not UCUM`);
  } else if (typeof value.unit === 'string') {
    wrong.add(`${file} ${path}: a unit for people without a code for programs`);
  }
  for (const [name, item] of Object.entries(value)) walk(item, `${path}.${name}`, file);
}

for (const dir of process.argv.slice(2)) {
  for (const file of readdirSync(dir, { recursive: true })) {
    if (file.endsWith('.json')) walk(JSON.parse(readFileSync(join(dir, file), 'utf8')), '', file);
  }
}

for (const [code, count] of [...seen].sort((a, b) => b[1] - a[1])) log(`${String(count).padStart(7)}  ${code}`);
for (const line of [...wrong].slice(0, 50)) console.error(line);
const total = [...seen.values()].reduce((sum, n) => sum + n, 0);
console.error(`ucum: ${total} quantities, ${seen.size} units, ${wrong.size} wrong`);
process.exit(wrong.size > 0 || total === 0 ? 1 : 0);
