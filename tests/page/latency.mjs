// From the byte on the wire to pixels: node tests/page/latency.mjs [READINGS], one JSON object.
// Begins before the write to the pseudo-terminal, ends in the task after the frame that shows the
// animal: the daemon's journal (fsync), the stream, the page's drawing and the browser's frame.
import {code, endBrowser, withYard} from "./yard.mjs";

const READINGS = Number(process.argv[2] ?? 120);
const WARM = 10; // the first ones find caches empty
const GAP_MS = 120;

function watch() {
    window.seen = new Map();
    new MutationObserver(() => {
        const number = document.querySelector("#stage .tag text:last-of-type")?.textContent;
        if (!number || window.seen.has(number)) return;
        window.seen.set(number, null);
        requestAnimationFrame(() => {
            const after = new MessageChannel();
            after.port1.onmessage = () => window.seen.set(number, performance.timeOrigin + performance.now());
            after.port2.postMessage(0);
        });
    }).observe(document.querySelector("#stage"), {childList: true, subtree: true});
}

function register(n) {
    const rows = Array.from(
        {length: n},
        (_, i) =>
            `L${i + 1},goat,female,does,on-farm,flag tag,left ear,yellow,yes,${code(i + 1)},${String(i + 1).padStart(4, "0")}\n`,
    );
    return "animal,species,sex,mob,status,form,place,colour,official,eid,visual\n" + rows.join("");
}

const pause = (ms) => new Promise((done) => setTimeout(done, ms));
const at = (sorted, share) => sorted[Math.min(sorted.length - 1, Math.ceil(share * sorted.length) - 1)];

await withYard({register: register(READINGS + WARM)}, async (yard) => {
    await yard.post({do: "open", kind: "walk", mob: "does"});
    const page = await yard.device();
    await page.evaluate(watch);
    const written = [];
    for (let n = 1; n <= READINGS + WARM; n++) {
        written.push((await yard.read(n)).at * 1000);
        await pause(GAP_MS);
    }
    await pause(500);
    const seen = new Map(await page.evaluate(() => [...window.seen]));
    const took = written
        .map((t, i) => (seen.get(String(i + 1).padStart(4, "0")) ?? Infinity) - t)
        .slice(WARM)
        .sort((a, b) => a - b);
    const missed = took.filter((ms) => !Number.isFinite(ms)).length;
    const round = (ms) => (Number.isFinite(ms) ? Math.round(ms * 10) / 10 : null);
    console.log(
        JSON.stringify({
            what: "byte to pixels",
            readings: took.length,
            missed,
            p50: round(at(took, 0.5)),
            p95: round(at(took, 0.95)),
            max: round(took[took.length - 1]),
            unit: "ms", goal_p95: 100,
        }),
    );
    process.exitCode = missed > 0 ? 1 : 0;
});
await endBrowser();
