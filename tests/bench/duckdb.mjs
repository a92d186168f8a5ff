// DuckDB doing what `lugmark reconcile` does, on the same two files.
// usage: duckdb.mjs REGISTER READINGS THREADS DIRECTORY; prints {"seconds": N}
import {DuckDBInstance} from "@duckdb/node-api";

const [register, readings, threads, directory] = process.argv.slice(2);
const instance = await DuckDBInstance.create(":memory:", {threads});
const db = await instance.connect();
const csv = (path) => `read_csv('${path}', header = true, all_varchar = true)`;
const keep = (query, name) => `COPY (${query}) TO '${directory}/duckdb-${name}.csv'`;
const begin = performance.now();
await db.run(`CREATE TABLE r AS SELECT * FROM ${csv(register)}`);
await db.run(`CREATE TABLE s AS SELECT eid, count(*) AS n FROM ${csv(readings)} GROUP BY eid`);
await db.run(keep("SELECT animal, eid, visual FROM r ANTI JOIN s USING (eid)", "missing"));
await db.run(keep("SELECT animal, eid, visual, n FROM r JOIN s USING (eid) WHERE n > 1", "twice"));
await db.run(keep("SELECT eid FROM s ANTI JOIN r USING (eid)", "unmatched"));
console.log(JSON.stringify({seconds: (performance.now() - begin) / 1000}));
process.exit(0);
