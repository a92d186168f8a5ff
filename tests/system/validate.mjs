// Check documents against ICAR's schemas: node validate.mjs MODULES SCHEMAS DELTA|- (ROOT FILE)...
// MODULES holds node_modules with ajv and ajv-formats. DELTA is a folder of newer texts that lie
// over SCHEMAS. Prints one JSON object a document; ends with 1 when one of them is not valid.
import fs from 'node:fs';
import path from 'node:path';
import { createRequire } from 'node:module';

const [modules, schemas, delta, ...pairs] = process.argv.slice(2);
const load = createRequire(path.join(path.resolve(modules), 'loader.js'));
const Ajv = load('ajv/dist/2020').default;
const addFormats = load('ajv-formats').default;
const HOME = 'https://schemas.invalid/';  // the schemas name each other by relative paths

// Newer texts replace older ones of the same place.
const texts = new Map();
for (const folder of delta === '-' ? [schemas] : [schemas, delta])
  for (const part of ['collections', 'enums', 'resources', 'types']) {
    const from = path.join(folder, part);
    for (const name of fs.existsSync(from) ? fs.readdirSync(from) : [])
      if (name.endsWith('.json')) texts.set(`${part}/${name}`, path.join(from, name));
  }

const ajv = addFormats(new Ajv({ strict: false, allErrors: true }));
for (const [name, file] of texts) ajv.addSchema(JSON.parse(fs.readFileSync(file)), HOME + name);
ajv.addSchema(JSON.parse(fs.readFileSync(path.join(schemas, '_local/geojson-geometry.json'))));

let bad = 0;
for (let i = 0; i < pairs.length; i += 2) {
  const check = ajv.getSchema(HOME + pairs[i]);
  if (!check) throw new Error(`no schema ${pairs[i]}`);
  const valid = check(JSON.parse(fs.readFileSync(pairs[i + 1])));
  const errors = (check.errors ?? []).map(e => `${e.instancePath} ${e.message}`);
  console.log(JSON.stringify({ file: pairs[i + 1], valid, errors }));
  bad += valid ? 0 : 1;
}
process.exit(bad ? 1 : 0);
