// Run the files of tests two at a time, and tell all as one plan of TAP.
import {spawn} from "node:child_process";
import {readdirSync} from "node:fs";
import {fileURLToPath} from "node:url";

const AT_ONCE = 3; // each waits more than it works
const LONGEST_MS = 240000;
// The longest first, so that none is left alone at the end.
const ORDER = ["test_look.mjs", "test_tongue.mjs", "test_race.mjs", "test_book.mjs", "test_senses.mjs", "test_line.mjs", "test_hostile.mjs"];
const only = process.argv[2] ?? "";

function runOne(file) {
    return new Promise((done) => {
        const child = spawn(process.execPath, [fileURLToPath(new URL(file, import.meta.url))], {
            stdio: ["ignore", "pipe", "pipe"],
        });
        let text = "";
        const timer = setTimeout(() => child.kill("SIGKILL"), LONGEST_MS);
        for (const stream of [child.stdout, child.stderr])
            stream.on("data", (part) => {
                text += part;
            });
        child.on("close", (code) => {
            clearTimeout(timer);
            done({file, text, code});
        });
    });
}

/* A file that died before its plan was done has a failure more. */
function results({file, text, code}) {
    const lines = text.split("\n");
    const plan = Number(/^1\.\.(\d+)/m.exec(text)?.[1] ?? -1);
    const told = lines.filter((line) => /^(not )?ok \d+/.test(line)).length;
    if (told !== plan || (code !== 0 && !/^not ok/m.test(text)))
        lines.push(`not ok 0 - ${file}: it ended with ${code} after ${told} of ${plan} tests`);
    return lines.filter((line) => line !== "" && !/^1\.\.\d+$/.test(line));
}

const files = readdirSync(new URL(".", import.meta.url))
    .filter((name) => /^test_.*\.mjs$/.test(name) && name.includes(only))
    .sort((a, b) => (ORDER.indexOf(a) + 1 || 99) - (ORDER.indexOf(b) + 1 || 99));
const waiting = [...files],
    done = [];

async function worker() {
    while (waiting.length > 0) done.push(await runOne(waiting.shift()));
}

await Promise.all(Array.from({length: AT_ONCE}, worker));
let number = 0;
const told = done
    .flatMap(results)
    .map((line) => line.replace(/^(not )?ok \d+/, (_, not) => `${not ?? ""}ok ${++number}`));
console.log(`1..${number}`);
console.log(told.join("\n"));
process.exitCode = number === 0 || told.some((line) => line.startsWith("not ok")) ? 1 : 0;
