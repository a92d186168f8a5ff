// Texts that want to be more than text: in the register, in calls, in what a reader sends.
import assert from "node:assert/strict";
import {run, test} from "./tap.mjs";
import {board, code, endBrowser, queueText, shows, SIZES, soon, withYard} from "./yard.mjs";

const EVIL = "<img src=x onerror=window.hacked=1>";
const LONG = "M".repeat(60);
const quote = (text) => `"${text.replaceAll('"', '""')}"`;
const REGISTER =
    "animal,species,sex,mob,status,form,place,colour,official,eid,visual\n" +
    `${quote(EVIL)},goat,female,${quote("<b>does</b>")},on-farm,flag tag,left ear,${quote("<i>red</i>")},yes,${code(1)},${quote(EVIL)}\n` +
    `${LONG},goat,female,${LONG},on-farm,flag tag,right ear,${LONG},yes,${code(2)},${LONG}\n` +
    `H3,goat,male,does,on-farm,flag tag,left ear,yellow,yes,${code(3)},\u05d0\u05d1\u05d2 0417 \u0645\u0639\u0632\n` +
    `H4,goat,male,does,on-farm,flag tag,left ear,yellow,yes,${code(4)},"=1+1'""&amp;<script>window.hacked=1</script>"\n`;

async function unharmed(page) {
    const is = await page.evaluate(() => ({
        hacked: window.hacked,
        bad: document.querySelectorAll("img, iframe, script:not([src='/race.js']):not([src='/book.js']), b > i")
            .length,
        wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
    }));
    assert.deepEqual(is, {hacked: undefined, bad: 0, wide: 0});
}

/* Nothing that people must read or touch may be pushed off the screen. */
async function inPlace(page) {
    const size = page.viewportSize();
    for (const selector of ["#stage .word", "#stage .tag", "#tally", "#call", "#more", "#next"]) {
        const box = await page.locator(selector).first().boundingBox();
        assert(
            box &&
                box.x >= -1 &&
                box.y >= -1 &&
                box.x + box.width <= size.width + 1 &&
                box.y + box.height <= size.height + 1,
            `${selector} at ${JSON.stringify(box)} of ${JSON.stringify(size)}`,
        );
    }
}

test("in the register", () =>
    withYard({register: REGISTER}, async (yard) => {
        await yard.post({do: "open", kind: "walk", who: EVIL});
        const pages = [];
        for (const size of Object.keys(SIZES)) pages.push(await yard.device("/", {size}));
        for (const n of [1, 2, 3, 4]) {
            await yard.read(n);
            for (const page of pages) {
                await soon(async () => assert.match((await board(page)).code, new RegExp(`0000 000${n}`)));
                await unharmed(page);
                await inPlace(page);
            }
        }
        const [page] = pages;
        assert.equal(
            await page.locator("#stage .tag").first().getAttribute("aria-label"),
            "Tag: =1+1'\"&amp;<script>window.hacked=1</script>, yellow, left ear",
        );
    }));

test("in a call: as written, with what turns or hides text made visible", () =>
    withYard({}, async (yard) => {
        await yard.post({do: "open", kind: "walk", mob: "does"});
        const page = await yard.device();
        await page.locator("#call").tap();
        await page.locator("#number").fill(EVIL);
        await page.getByRole("button", {name: "It gave no reading"}).tap();
        await shows(page, {word: "HOLD", reason: "nobody we know"});
        assert.match((await board(page)).code, /called <img src=x onerror=window\.hacked=1>/);
        assert.match(await queueText(page), /HOLD <img/);
        await unharmed(page);
        await inPlace(page);
        await page.locator("#undo").tap();
        await page.getByText(`Take back the call ${EVIL}?`).waitFor();
        await unharmed(page);
    }));

test("in the stream, whatever the daemon lets through", () =>
    withYard({}, async (yard) => {
        await yard.post({do: "open", kind: "walk", mob: "does"});
        const page = await yard.device();
        const verdict = {
            event: "verdict",
            seq: 9000001,
            t: "2026-11-02T08:00:00.000Z",
            lane: EVIL,
            reader: "front",
            attention: "hold",
            reasons: ["not-in-register"],
            repeat: false,
            eid: EVIL,
            called: "04\u202e71\u200b",
            animal: EVIL,
            visual: ["04\u202e71", LONG],
            colour: EVIL,
            place: EVIL,
            sex: EVIL,
            mob: LONG,
            say: EVIL,
            should: `${EVIL}, right ear`,
            text: "\u2067\u0000x",
            tally: null,
        };
        await page.route("**/events**", (route) =>
            route.fulfill({
                contentType: "text/event-stream",
                body: [
                    {
                        event: "hello",
                        may: "act",
                        session: {id: "1", kind: EVIL, mob: LONG, closed: null},
                        tally: null,
                        last_seq: 1,
                        lanes: [EVIL, LONG],
                        mobs: [EVIL],
                        readers: [
                            {name: EVIL, lane: EVIL, state: EVIL, problem: EVIL, mend: EVIL, rejects: {[EVIL]: 3}},
                        ],
                        journal: "failed",
                        problem: EVIL,
                    },
                    verdict,
                    {event: EVIL},
                    {event: "__proto__"},
                    {event: "reader"},
                ]
                    .map((m) => `data: ${JSON.stringify(m)}\n\n`)
                    .join(""),
            }),
        );
        await page.reload();
        await soon(async () => assert.match((await board(page)).code, /called 04\u25a171\u25a1/));
        await unharmed(page);
        for (const key of ["q", "r", "m", "c"]) {
            await page.keyboard.press(key);
            await page.locator("dialog[open]").waitFor();
            await unharmed(page);
            await page.keyboard.press("Escape");
        }
    }));

test("in what a reader sends", () =>
    withYard({}, async (yard) => {
        await yard.post({do: "open", kind: "walk", mob: "does"});
        const page = await yard.device();
        for (const junk of [
            EVIL,
            "\u202e" + EVIL,
            "\u0000\u0001\u001b[2J",
            LONG.repeat(4),
            "999000000000001" + EVIL,
        ])
            await yard.ask({bytes: junk + "\r\n"});
        await yard.read(5);
        await shows(page, {number: "0005"});
        await unharmed(page);
        await page.locator("#readers").tap();
        await soon(async () => assert.match(await page.locator("dialog .rows").innerText(), /refused: \d/));
        await unharmed(page);
    }));

test("in the book", () =>
    withYard({register: REGISTER}, async (yard) => {
        await yard.post({do: "open", kind: "walk", who: EVIL});
        await yard.read(1, "999000000055555");
        await yard.post({do: "close"});
        const page = await yard.device("/book");
        await page.locator("#find-text").fill("img");
        await page.locator("#page .rows a").first().click();
        await page.getByRole("heading", {name: `Animal ${EVIL}`}).waitFor();
        await unharmed(page);
        for (const part of [
            "#sessions",
            "#session=1",
            `#animal=${encodeURIComponent(LONG)}`,
            "#animal=%3Cimg%20src%3Dx%20onerror%3Dwindow.hacked%3D1%3Enobody",
            `#count=${encodeURIComponent(EVIL)}`,
        ]) {
            await page.goto(`${yard.url}/book${part}`);
            await page.locator("#page:not([aria-busy]) h2").waitFor();
            await unharmed(page);
        }
    }));

await run("hostile");
await endBrowser();
