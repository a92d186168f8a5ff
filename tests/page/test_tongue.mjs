// The pages in German: complete, in place, and never the register's own words.
import assert from "node:assert/strict";
import {ready, scan, sheets, touching} from "./access.mjs";
import {run, test} from "./tap.mjs";
import {OPEN} from "./touch.mjs";
import {code, counts, endBrowser, shows, soon, withYard} from "./yard.mjs";

const {default: words} = await import(new URL("../../src/daemon/page/words_de.js", import.meta.url));
const GERMAN = {locale: "de-DE", touch: false, size: "wide"};
const ENGLISH = {touch: false, size: "wide"};
// What is the same in every language: data of the test register, names, keys, signs.
const DATA =
    /^(does|front|walk|yellow|goat|blue|red|green|9001|A\d+|front: \d+|W|ABC|Esc|Status|Form|Code|\W*\d[\d :.\u2013-]*|lugmark.*|none.*|import|\d{4}-\d\d-\d\d lost)$/;
// A reason in the history is data of the register.
const PLAIN = /^retagged /;

/* Every text of the page as a person meets it, names for screen readers too. */
function texts(page) {
    return page.evaluate(() => {
        const walker = document.createTreeWalker(document, NodeFilter.SHOW_TEXT);
        const found = [];
        while (walker.nextNode())
            if (!walker.currentNode.parentElement.closest("script, noscript, option"))
                found.push(walker.currentNode.data);
        for (const node of document.querySelectorAll("[aria-label]")) found.push(node.getAttribute("aria-label"));
        return [...new Set(found.map((text) => text.replace(/\s+/g, " ").trim()))].filter((t) =>
            /[a-z]{2}/i.test(t),
        );
    });
}

const PATTERNS = Object.keys(words)
    .filter((key) => /\{\d\}/.test(key) && /[a-z]{3}/i.test(key))
    .map((key) => {
        const parts = key
            .trim()
            .split(/\{\d\}/)
            .map((part) => part.replace(/[.*+?^${}()|[\]\\]/g, "\\$&"));
        return new RegExp(`^${parts.join("(.+)")}$`);
    });
const KEYS = new Set(Object.keys(words).map((key) => key.trim()));
const GERMANS = new Set(Object.values(words).map((text) => text.trim()));

/* No text that the dictionary has in English, and at least some of its German. */
async function german(page, where) {
    const told = await texts(page);
    const english = told.filter(
        (text) =>
            !DATA.test(text) &&
            !GERMANS.has(text) &&
            (KEYS.has(text) || PATTERNS.some((p) => p.test(text) && !/[äöüß]/.test(text) && !/ \d+$/.test(text))),
    );
    assert.deepEqual(english, [], where);
    assert(told.some((text) => GERMANS.has(text)), `${where}: ${told}`);
    assert.equal(await page.evaluate(() => document.documentElement.lang), "de", where);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
    assert(wide <= 0, `${where}: ${wide} px too wide`);
    return told;
}

test("the race page is German from its board to its last sheet", () =>
    withYard({}, async (yard) => {
        const [page, english] = [await yard.device("/", GERMAN), await yard.device("/", ENGLISH)];
        await ready(page);
        const same = async (where) => {
            const theirs = new Set(await texts(english));
            const both = (await german(page, where)).filter((text) => theirs.has(text) && !DATA.test(text));
            assert.deepEqual(both, [], `${where}: English and German alike`);
            await scan(page, true);
        };
        await shows(page, {word: "KEIN LAUF"});
        await yard.read(1);
        await shows(page, {reason: "Ein Code wurde gelesen und nicht behalten"});
        await same("no session");
        await sheets(page, ["o", "m", "r"], (name) => german(page, name));
        await yard.post(OPEN);
        for (const p of [page, english]) await soon(async () => assert.equal(await p.locator("#call").count(), 1));
        await shows(page, {word: "BEREIT"});
        await same("ready");
        await yard.read(1);
        await shows(page, {kind: "go", word: "LOS", number: "0001", reason: "wird erwartet"});
        assert.equal(
            await page.locator("#stage .where span").innerText(),
            "linkes Ohr \u00b7 yellow \u00b7 weiblich",
            "what the register says stays as it is",
        );
        await same("go");
        await yard.read("999000000055555");
        await shows(page, {kind: "hold", word: "HALT", reason: "niemand, den wir kennen +1"});
        assert.equal(await page.title(), "HALT \u202655555");
        await soon(async () => assert.equal(await english.title(), "HOLD \u202655555"));
        await soon(async () =>
            assert.match(await page.locator("#assertive").textContent(), /^HALT: unbekannt, niemand/),
        );
        await same("hold");
        await yard.post({do: "saw", number: "0007"});
        await shows(page, {kind: "look", word: "SCHAU", reason: "Ohrmarke gab keine Lesung"});
        await counts(page, {erwartet: 40, gesehen: 2, "noch nicht gesehen": 38});
        await same("look");
        for (const key of ["c", "h", "u", "n", "q", "r", "m", "x"]) {
            for (const p of [page, english]) {
                await p.keyboard.press(key);
                await p.locator("dialog[open]").waitFor();
            }
            await page.waitForTimeout(250);
            await same(`sheet ${key}`);
            for (const p of [page, english]) await p.keyboard.press("Escape");
        }
        await yard.ask({kill: true});
        for (const p of [page, english]) await p.locator("#alarms .lost").waitFor();
        await same("line lost");
        await yard.ask({start: true});
        await page.locator("#alarms .lost").waitFor({state: "detached"});
        await yard.post({do: "close"});
        await shows(page, {word: "BEENDET"});
        await german(page, "closed");
    }));

test("the race page in German fits a telephone, and can be touched", () =>
    withYard({before: [["mark-plan", "set", "ear-female", "right ear"]]}, async (yard) => {
        await yard.post(OPEN);
        const page = await yard.device("/", {locale: "de-DE"});
        for (const [what, word] of [
            [1, "LOS"],
            ["999000000055555", "HALT"],
            [code(9001), "HALT"],
            [null, "SCHAU"],
        ]) {
            await (what === null ? yard.post({do: "saw", number: "0007"}) : yard.read(what));
            await shows(page, {word});
            for (const part of ["#stage .word", "#stage .reason", "#tally", "#next", "#call", "#more"]) {
                await soon(async () => {
                    const box = await page.locator(part).first().boundingBox();
                    assert(
                        box && box.x >= -1 && box.y >= -1 && box.x + box.width <= 391 && box.y + box.height <= 845,
                        `${part} ${JSON.stringify(box)}`,
                    );
                }, 3);
            }
            const cut = await page.evaluate(() =>
                [...document.querySelectorAll("#tally dt, #tally dd, #actions button, #bar button, #next button")]
                    .filter((node) => node.scrollWidth > node.clientWidth + 1)
                    .map((node) => node.textContent),
            );
            assert.deepEqual(cut, []);
            await german(page, word);
        }
        assert.deepEqual(await touching(page), []);
        for (const id of ["call", "head", "undo", "more"]) {
            await page.locator(`#${id}`).tap();
            await page.locator("dialog[open]").waitFor();
            assert.deepEqual(await touching(page), [], id);
            await german(page, id);
            await page.keyboard.press("Escape");
        }
    }));

test("the book and the pairing page in German", () =>
    withYard({}, async (yard) => {
        await yard.lugmark("retag", "A17", "--old", code(17), "--reason", "lost", "--eid", code(9017));
        await yard.post({do: "open", kind: "count", mob: "does", count: "2026", who: "W"});
        const all = [...Array(40).keys()].map((n) => n + 1).filter((n) => n !== 20);
        await yard.read(...all, code(9001), "999000000055555");
        await soon(async () => assert.equal((await yard.post({do: "status"})).tally.passes, 41));
        await yard.post({do: "head", n: 4});
        await yard.post({do: "close"});
        await yard.post({do: "open", kind: "sale", mob: "does"});
        await yard.read(3);
        await soon(async () => assert.equal((await yard.post({do: "status"})).tally.passes, 1));
        await yard.post({do: "close"});
        const [page, english] = [await yard.device("/book", GERMAN), await yard.device("/book", ENGLISH)];
        await ready(page);
        for (const part of [
            "find=0017",
            "find=nobody",
            "animal=A17",
            "sessions",
            "session=1",
            "session=2",
            "counts",
            "count=2026",
            "statement",
            "sales",
            "sale=2",
        ]) {
            for (const p of [page, english]) {
                await p.goto(`${yard.url}/book#${part}`);
                await p.reload();
                await p.locator("#page:not([aria-busy]) h2").waitFor();
                if (part === "statement") {
                    await p.locator("form button").click();
                    await p.locator(".three").waitFor();
                }
                if (part.startsWith("session="))
                    await soon(async () => assert.doesNotMatch((await texts(p)).join(), /\u2026/));
                if (part.startsWith("find=")) await p.locator("#page p:has(+ .rows)").waitFor();
            }
            const theirs = new Set(await texts(english));
            const both = (await german(page, part)).filter(
                (text) => theirs.has(text) && !DATA.test(text) && !PLAIN.test(text),
            );
            assert.deepEqual(both, [], `${part}: English and German alike`);
            await scan(page, true);
        }
        for (const path of ["/pair", "/pair#wrong"]) {
            await page.goto(yard.url + path);
            await page.locator("#secret").waitFor();
            await german(page, path);
            await scan(page, true);
        }
    }));

test("which language: the device's, or the one that was chosen on it", () =>
    withYard({}, async (yard) => {
        const lang = (page) => page.evaluate(() => document.documentElement.lang);
        for (const [locale, is, word] of [
            ["fr-FR", "en", "NO SESSION"],
            ["de-CH", "de", "KEIN LAUF"],
            ["en-US", "en", "NO SESSION"],
        ]) {
            const page = await yard.device("/", {locale});
            await shows(page, {word});
            assert.equal(await lang(page), is);
        }
        const page = await yard.device("/book", {locale: "de-DE"});
        await page.getByRole("button", {name: "Sprache: Deutsch"}).tap();
        await page.getByRole("heading", {name: "Find an animal"}).waitFor();
        await page.goto(yard.url + "/");
        await shows(page, {word: "NO SESSION"});
        await page.locator("#more").tap();
        await page.getByRole("button", {name: "Language: English"}).tap();
        await shows(page, {word: "KEIN LAUF"});
    }));

test("words that do not arrive leave the page in English, and it works", () =>
    withYard({}, async (yard) => {
        const page = await yard.device("/", {locale: "de-DE"});
        await page.route("**/words_de.js", (route) => route.abort());
        await page.reload();
        await shows(page, {word: "NO SESSION"});
        await yard.post(OPEN);
        await yard.read(1);
        await shows(page, {word: "GO", reason: "on the roll"});
    }));

await run("tongue", 120);
await endBrowser();
