// Checks dashboards: node check.js DASHBOARD.json… in the folder that `run` prepared.
// Writes the PromQL expressions as recording rules to promql.yml, for promtool to judge.
const fs = require('fs');
const Ajv = require('ajv');
const { Flux } = require('@influxdata/flux-lsp-node');

const read = path => JSON.parse(fs.readFileSync(path, 'utf8'));
const ajv = new Ajv({ strict: false, allErrors: true });
const whole = ajv.compile(read('dashboard.schema.json'));
const kinds = new Map(
  ['timeseries', 'stat', 'table', 'state-timeline'].map(kind => [kind, ajv.compile(read(`${kind}.schema.json`))]));

// What Grafana's data source and variables put in before a query is sent.
const GIVEN = 'v = {defaultBucket: "b", organization: "o", timeRangeStart: -1h, timeRangeStop: now(), windowPeriod: 5m}\n';
const filled = query => query.replace(/\$\{\w+:regex\}/g, '.*').replace(/\$\{\w+\}/g, 'x');
function isValid(query) {
  const lines = filled(query).split('\n');
  const imports = lines.filter(line => line.startsWith('import '));
  const rest = lines.filter(line => !line.startsWith('import '));
  return new Flux(`${imports.join('\n')}\n${GIVEN}${rest.join('\n')}`).is_valid();
}

let wrong = 0;
const expressions = [];
const tell = (where, what) => { wrong += 1; console.log(`${where}: ${what}`); };
const faults = check => check.errors.map(e => `${e.instancePath} ${e.message}`).slice(0, 5).join('; ');

// The judges themselves must be able to say no.
if (isValid('from(bucket: 5)')) tell('check.js', 'the Flux checker takes a number for a bucket');
if (whole({ title: 5 })) tell('check.js', 'the schema takes a number for a title');

for (const file of process.argv.slice(2)) {
  const dashboard = read(file);
  if (!whole(dashboard)) tell(file, faults(whole));
  for (const variable of dashboard.templating.list) {
    if (!isValid(variable.query)) tell(`${file} variable ${variable.name}`, 'not valid Flux');
  }
  for (const panel of dashboard.panels) {
    const where = `${file} "${panel.title}"`;
    const options = kinds.get(panel.type);
    if (!options) tell(where, `no schema for panels of type ${panel.type}`);
    else if (!options(panel.options)) tell(where, faults(options));
    for (const target of panel.targets) {
      if (target.expr) expressions.push(target.expr);
      else if (!isValid(target.query)) tell(where, `not valid Flux:\n${target.query}`);
    }
  }
}
const rules = expressions.map((expr, n) => `      - { record: "checked:${n}", expr: ${JSON.stringify(expr)} }`);
fs.writeFileSync('promql.yml', `groups:\n  - name: dashboards\n    rules:\n${rules.join('\n')}\n`);
process.exit(wrong ? 1 : 0);
