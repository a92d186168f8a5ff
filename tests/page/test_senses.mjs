// The race page by keys alone, by ear, for those who may only look, and when readers go away.
import assert from "node:assert/strict";
import {run, test} from "./tap.mjs";
import {OPEN} from "./touch.mjs";
import {board, counts, endBrowser, queueText, shows, soon, withYard} from "./yard.mjs";

test("a reader that goes away is said, by shape and word", () =>
    withYard({}, async (yard) => {
        const page = await yard.device();
        await soon(async () => assert.equal(await page.locator("#readers").innerText(), "\u25cf 1 reader"));
        await yard.ask({unplug: "front"});
        await soon(async () =>
            assert.match(
                await page.locator("#readers").innerText(),
                /^\u25b2 front: (absent|backing-off|opening)$/,
            ),
        );
        await page.locator("#readers").tap();
        assert.match(await page.locator("dialog .bad").innerText(), /\u25b2 front/);
        await page.getByRole("button", {name: "Back", exact: true}).tap();
        await yard.ask({plug: "front"});
        await soon(async () => assert.equal(await page.locator("#readers").innerText(), "\u25cf 1 reader"), 15);
    }));

test("codes while no session is open are said to be lost", () =>
    withYard({}, async (yard) => {
        const page = await yard.device();
        await yard.read(1);
        await shows(page, {kind: "none idle", word: "NO SESSION", reason: "A code was read and not kept"});
    }));

test("by keys alone", () =>
    withYard({}, async (yard) => {
        const page = await yard.device("/", {size: "wide", touch: false});
        await page.keyboard.press("o");
        await page.locator("dialog[open]").waitFor();
        await page.keyboard.press("Tab");
        for (let i = 0; i < 12 && (await page.evaluate(() => document.activeElement.id)) !== "mob"; i++)
            await page.keyboard.press("Tab");
        await page.keyboard.type("does");
        await page.keyboard.press("Enter");
        if (
            (await page.locator("dialog").count()) > 0 &&
            (await page.evaluate(() => document.activeElement.localName)) === "select"
        ) {
            for (
                let i = 0;
                i < 6 && !/Open the session/.test(await page.evaluate(() => document.activeElement.textContent));
                i++
            )
                await page.keyboard.press("Tab");
            await page.keyboard.press("Enter");
        }
        await shows(page, {word: "READY"});
        await yard.read(1, "999000000055555", 2);
        await shows(page, {number: "0002"});
        await page.keyboard.press("d");
        await soon(async () => assert.match(await queueText(page), /Nobody to be looked at/));

        await page.keyboard.press("c");
        await page.locator("#guesses li").first().waitFor();
        await page.keyboard.type("002");
        await soon(async () => assert.equal((await page.locator("#guesses li b").allInnerTexts())[0], "0020"));
        await page.keyboard.press("ArrowDown");
        await page.keyboard.press("ArrowDown");
        assert.equal(await page.locator("#number").getAttribute("aria-activedescendant"), "guess-1");
        await page.keyboard.press("Enter");
        assert.equal(await page.locator("#number").inputValue(), "0021");
        assert.match(await page.evaluate(() => document.activeElement.textContent), /just read: 0002/);
        await page.keyboard.press("Tab");
        await page.keyboard.press("Enter");
        await shows(page, {number: "0021", reason: "tag gave no reading"});
        await page.locator("dialog").waitFor({state: "detached"});

        await page.keyboard.press("h");
        await page.keyboard.type("9");
        await page.keyboard.press("Enter");
        await counts(page, {heads: 9});
        await page.locator("dialog").waitFor({state: "detached"});
        await page.keyboard.press("u");
        await page.getByText("Take back the head count 9?").waitFor();
        await page.keyboard.press("Escape");
        await page.locator("dialog").waitFor({state: "detached"});
        for (const [key, name] of [
            ["n", "Not yet seen"],
            ["q", "To be looked at"],
            ["r", "Readers"],
            ["m", "More"],
        ]) {
            await page.keyboard.press(key);
            await page.getByRole("heading", {name, level: 2}).first().waitFor();
            await page.keyboard.press("Escape");
        }
        await page.keyboard.press("x");
        await page.getByText("Close this session?").waitFor();
        const focused = () => page.evaluate(() => document.activeElement.textContent);
        for (let i = 0; i < 4 && (await focused()) !== "Close it"; i++) await page.keyboard.press("Tab");
        const seen = await page.evaluate(() => getComputedStyle(document.activeElement).outlineWidth);
        assert.equal(seen, "4px", "the focus is seen");
        await page.keyboard.press("Enter");
        await soon(async () => assert.equal((await board(page)).word, "CLOSED"));
    }));

test("what is heard: assertive for hold, polite for the rest", () =>
    withYard({}, async (yard) => {
        await yard.post(OPEN);
        const page = await yard.device();
        await page.evaluate(() => {
            window.tones = [];
            const real = AudioContext.prototype.createOscillator;
            AudioContext.prototype.createOscillator = function () {
                const tone = real.call(this);
                window.tones.push(tone);
                return tone;
            };
        });
        await page.locator("#sound").tap();
        await soon(async () => assert.equal(await page.locator("#sound").isVisible(), false));
        const tones = () =>
            page.evaluate(() => {
                const heard = window.tones.map((t) => t.frequency.value);
                window.tones = [];
                return heard;
            });
        await tones();
        await yard.read(4);
        await soon(async () => assert.equal(await page.locator("#polite").textContent(), "0004"));
        const go = await tones();
        await yard.read("999000000055555");
        await soon(async () =>
            assert.match(await page.locator("#assertive").textContent(), /^HOLD: unknown, nobody we know/),
        );
        const hold = await tones();
        await yard.post({do: "saw", number: "0006"});
        await soon(async () =>
            assert.match(
                await page.locator("#polite").textContent(),
                /^LOOK: 0006, tag gave no reading, left ear/,
            ),
        );
        const look = await tones();
        assert.deepEqual([go.length, look.length, hold.length], [1, 2, 3], "one, two and three tones");
        assert(Math.max(...hold) < Math.min(...look) && Math.max(...look) < Math.min(...go), "low, middle, high");
    }));

test("a device that may only look has nothing to touch that changes", () =>
    withYard({}, async (yard) => {
        await yard.post(OPEN);
        const page = await yard.device();
        await page.route("**/events**", async (route) => {
            const status = await (
                await fetch(yard.url + "/do", {
                    method: "POST",
                    headers: {"Content-Type": "application/json"},
                    body: '{"do":"status"}',
                })
            ).json();
            const hello = {
                event: "hello",
                may: "look",
                session: status.session,
                tally: status.tally,
                last_seq: status.last_seq,
                readers: [],
                journal: "failed",
                problem: "the disk is full",
                lanes: ["1"],
            };
            await route.fulfill({contentType: "text/event-stream", body: `data: ${JSON.stringify(hello)}\n\n`});
        });
        await page.reload();
        await page.getByText("This device may look.").waitFor();
        assert.match(await page.locator("#alarms").innerText(), /STOP: THE JOURNAL FAILED\.\s+the disk is full/);
        assert.deepEqual(await page.locator("#actions button").evaluateAll((all) => all.map((b) => b.id)), [
            "more",
        ]);
        for (const key of ["c", "h", "u", "x"]) await page.keyboard.press(key);
        assert.equal(await page.locator("dialog").count(), 0);
        await page.locator("#more").tap();
        assert.equal(await page.getByRole("button", {name: "Close the session"}).count(), 0);
    }));

await run("senses");
await endBrowser();
