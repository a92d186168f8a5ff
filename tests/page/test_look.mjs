// How the pages look: contrast and names (axe), what fits, what can be touched with gloves.
import assert from "node:assert/strict";
import {spawnSync} from "node:child_process";
import {mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync} from "node:fs";
import {tmpdir} from "node:os";
import {join} from "node:path";
import {fileURLToPath} from "node:url";
import {ready, scan, sheets, touching} from "./access.mjs";
import {run, test} from "./tap.mjs";
import {OPEN} from "./touch.mjs";
import {code, endBrowser, shows, SIZES, soon, withYard} from "./yard.mjs";

const PAGES = new URL("../../src/daemon/page/", import.meta.url);
const STRIP = fileURLToPath(new URL("../../src/daemon/page_strip.awk", import.meta.url));
const BUILT = join(process.env.LUGMARK_BUILD, "page");
const MARKS =
    "animal,species,sex,born,mob,status,form,place,colour,official,eid,visual\n" +
    `M1,goat,female,2026-02-01,does,on-farm,button tag,left ear,yellow,yes,${code(1)},EX 0000 00101\nM1,goat,female,2026-02-01,does,on-farm,flag tag,right ear,green,no,,1001\n` +
    `M2,goat,female,2026-02-01,does,on-farm,flag tag,left ear,blue,yes,${code(2)},EX 0000 00102\n` +
    `M3,goat,male,2026-02-01,does,on-farm,flag tag,right ear,teal,yes,${code(3)},3\n` +
    `M4,goat,male,,does,on-farm,,,,yes,${code(4)},\nM5,goat,male,,bucks,on-farm,flag tag,left ear,red,yes,${code(5)},0005\n`;

for (const scheme of ["light", "dark"])
    test(`the race page has no fault of access, ${scheme}`, () =>
        withYard({register: MARKS}, async (yard) => {
            const page = await yard.device("/", {scheme, touch: false});
            await ready(page);
            await shows(page, {word: "NO SESSION"});
            await scan(page, true);
            await sheets(page, ["o"], () => scan(page, true));
            await yard.post(OPEN);
            await shows(page, {word: "READY"});
            await scan(page, true);
            await yard.read(2);
            await shows(page, {word: "GO"});
            await scan(page, true);
            await yard.read(5);
            await shows(page, {word: "HOLD"});
            await scan(page, true);
            await yard.post({do: "saw", number: "1001"});
            await shows(page, {word: "LOOK"});
            await scan(page, true);
            await sheets(page, ["c", "h", "u", "n", "q", "r", "m", "x"], () => scan(page, true));
            await yard.ask({signal: "KILL"});
            await page.locator("#alarms .lost").waitFor();
            await scan(page, true);
            await yard.ask({start: true});
        }));

for (const scheme of ["light", "dark"])
    test(`the book and the pairing page have no fault of access, ${scheme}`, () =>
        withYard({register: MARKS}, async (yard) => {
            await yard.post(OPEN);
            await yard.read(2, 5, "999000000055555");
            await yard.post({do: "head", n: 4});
            await yard.post({do: "close"});
            const page = await yard.device("/book", {scheme, touch: false});
            await ready(page);
            await page.locator("#find-text").fill("1");
            await page.locator("#page .rows li").first().waitFor();
            await scan(page, true);
            for (const part of ["#animal=M1", "#session=1", "#statement", "#sessions", "#counts", "#sales"]) {
                await page.goto(`${yard.url}/book${part}`);
                await page.locator("#page:not([aria-busy]) h2").waitFor();
                await page.waitForTimeout(200);
                await scan(page, true);
            }
            await page.goto(`${yard.url}/pair`);
            await page.locator("#secret").waitFor();
            await scan(page, true);
        }));

for (const [size, {width, height}] of Object.entries(SIZES))
    test(`everything is there and can be touched, ${size}`, () =>
        withYard(
            {
                register: MARKS,
                before: [
                    ["mark-plan", "set", "colours", "2026 orange"],
                    ["mark-plan", "set", "ear-female", "right ear"],
                ],
            },
            async (yard) => {
                await yard.post(OPEN);
                const page = await yard.device("/", {size});
                const inside = async (inner, outer, slack = 1) => {
                    const [a, b] = [
                        await page.locator(inner).first().boundingBox(),
                        outer ? await page.locator(outer).first().boundingBox() : {x: 0, y: 0, width, height},
                    ];
                    assert(
                        a &&
                            b &&
                            a.x >= b.x - slack &&
                            a.y >= b.y - slack &&
                            a.x + a.width <= b.x + b.width + slack &&
                            a.y + a.height <= b.y + b.height + slack,
                        `${inner} ${JSON.stringify(a)} in ${outer ?? "the screen"} ${JSON.stringify(b)}`,
                    );
                };
                for (const n of [1, 2, 3, 4, 5]) {
                    await yard.read(n);
                    await soon(async () =>
                        assert.match(await page.locator("#stage .code").innerText(), new RegExp(`000${n}`)),
                    );
                    for (const part of ["#stage .word", "#stage .reason", "#stage .marks .tag"])
                        await inside(part, "#stage");
                    await inside("#stage .tag text:last-of-type", "#stage .tag", 3);
                    for (const part of ["#call", "#head", "#undo", "#more", "#tally", "#next", "#bar"])
                        await inside(part);
                    const [reason, about] = [
                        await page.locator("#stage .reason").boundingBox(),
                        await page.locator("#stage .about").boundingBox(),
                    ];
                    assert(
                        reason.y + reason.height <= about.y + 1,
                        "the reason and the rest do not lie on each other",
                    );
                }
                const tag = await page.locator("#stage .marks .tag").first().boundingBox();
                assert(tag.height >= Math.min(120, height * 0.3), `the tag is ${tag.height} high`);
                const words = await page
                    .locator("#stage .word strong")
                    .evaluate((node) => parseFloat(getComputedStyle(node).fontSize));
                assert(words >= 40, `the word is ${words} px`);
                assert.deepEqual(await touching(page), []);
                for (const id of ["call", "head", "undo", "more"]) {
                    await page.locator(`#${id}`).click();
                    await page.locator("dialog[open]").waitFor();
                    assert.deepEqual(await touching(page), [], id);
                    assert.equal(
                        await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth),
                        true,
                    );
                    await page.keyboard.press("Escape");
                }
            },
        ));

test("the tag is drawn as the register and the plan say", () =>
    withYard(
        {
            register: MARKS,
            before: [
                ["mark-plan", "set", "colours", "2026 orange"],
                ["mark-plan", "set", "ear-female", "right ear"],
            ],
        },
        async (yard) => {
            await yard.post(OPEN);
            const page = await yard.device();
            const drawn = () =>
                page
                    .locator("#stage figure")
                    .evaluateAll((all) =>
                        all.map((f) => [
                            [...f.querySelectorAll("text")].map((t) => t.textContent).join("|"),
                            f.querySelector(".tag > path, .tag > circle").getAttribute("fill"),
                            f.querySelector("figcaption")?.textContent ?? "",
                        ]),
                    );
            await yard.read(2);
            await shows(page, {number: "00102"});
            assert.deepEqual(
                await drawn(),
                [
                    ["EX 0000|00102", "#17468f", ""],
                    ["EX 0000|00102", "#ff9f3c", "by the planorange, right ear"],
                ],
                "the end of a long number is the biggest; what the plan says stands beside it",
            );
            await yard.read(3);
            await shows(page, {number: "3"});
            const [[, fill], dashed] = [
                (await drawn())[0],
                await page.locator("#stage .tag > path").first().getAttribute("stroke-dasharray"),
            ];
            assert.deepEqual([fill, dashed], ["#ffffff", "16 10"], "a colour that nobody can draw is not guessed");
            assert.match(await page.locator("#stage .where").innerText(), /right ear[^]*teal/);
        },
    ));

/* The texts of a script, in their order. */
const texts = (script) =>
    script.replace(/^\s*(\/\/.*|\/\*[^]*?\*\/)$/gm, "").match(/"(?:[^"\\\n]|\\.)*"|`[^`]*`/g) ?? [];

test("all files together are small, and need nothing from outside", async () => {
    const list = readFileSync(join(BUILT, "page_list.h"), "utf8");
    const names = [...list.matchAll(/"([^"]+)"/g)].map(([, name]) => name);
    assert(names.includes("race.js") && names.includes("words_de.js"), list);
    let bytes = 0;
    for (const name of names) {
        const text = readFileSync(join(BUILT, name), "utf8");
        bytes += Buffer.byteLength(text);
        assert.doesNotMatch(
            text.replaceAll("http://www.w3.org/2000/svg", ""),
            /https?:\/\/|\/\/[a-z]+\.[a-z]/,
            name,
        );
        assert.doesNotMatch(
            text,
            /innerHTML|outerHTML|insertAdjacentHTML|document\.write|eval\(|new Function/,
            name,
        );
        assert.doesNotMatch(text, /compliant/i, name);
        if (name.endsWith(".html"))
            assert.doesNotMatch(text, /<style|<script(?![^>]* src=)|\sstyle=|\son[a-z]+=/, name);
    }
    assert(bytes < 100000, `${bytes} bytes`);
});

test("what makes the scripts small leaves them whole, to the letter of their texts", async () => {
    for (const name of readdirSync(PAGES).filter((file) => file.endsWith(".js"))) {
        const small = readFileSync(join(BUILT, name), "utf8");
        const checked = spawnSync(process.execPath, ["--input-type=module", "--check"], {input: small});
        assert.equal(checked.status, 0, `${name}: ${checked.stderr}`);
        assert.deepEqual(texts(small), texts(readFileSync(new URL(name, PAGES), "utf8")), name);
    }
    const folder = mkdtempSync(join(tmpdir(), "strip-"));
    for (const [text, wanted] of [
        ["const a = `x\n  y`;\n", null],
        ["/* no end\nx();\n", null],
        ['\t// gone\n\tsay("a  =>  b", c);\n', 'say("a  =>  b",c);\n'],
        ["x = a\n\t? /b : c/\n\t: `d : ${e}`;\n", "x=a? /b : c/:`d : ${e}`;\n"],
        ["f(\n\ta, // one\n\tb,\n);\n", "f(a, // one\nb);\n"],
    ]) {
        writeFileSync(join(folder, "a.js"), text);
        const done = spawnSync("awk", ["-f", STRIP, join(folder, "a.js")], {encoding: "utf8"});
        if (wanted === null) assert.notEqual(done.status, 0, text);
        else assert.equal(done.stdout, wanted);
    }
    rmSync(folder, {recursive: true});
});

await run("look");
await endBrowser();
