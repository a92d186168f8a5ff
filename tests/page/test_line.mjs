// The line is lost and comes back: said at once, nothing lost, nothing twice.
import assert from "node:assert/strict";
import {run, test} from "./tap.mjs";
import {OPEN, sawByTouch} from "./touch.mjs";
import {counts, endBrowser, queueText, shows, soon, withYard} from "./yard.mjs";

const lost = (page) => page.locator("#alarms .lost");

test("a daemon that hangs is noticed within five seconds, and nothing is missed", () =>
    withYard({}, async (yard) => {
        await yard.post(OPEN);
        const page = await yard.device();
        await yard.read(1, "999000000055555");
        await shows(page, {word: "HOLD"});
        await yard.ask({signal: "STOP"});
        const start = performance.now();
        await lost(page).waitFor({timeout: 7000});
        const took = performance.now() - start;
        assert(took < 5600, `it took ${took} ms`); // five seconds, and who looks may be late
        assert.match(await lost(page).innerText(), /CONNECTION LOST\. Nothing is lost, the readers go on/);
        await yard.read(2, 3, "999000000066666", 4);
        await shows(page, {word: "HOLD", number: "?"});
        await yard.ask({signal: "CONT"});
        await shows(page, {word: "GO", number: "0004"});
        await lost(page).waitFor({state: "detached"});
        await counts(page, {seen: 4, "not yet seen": 36});
        assert.match(await queueText(page), /2 in all/, "each flagged one is there once");
    }));

test("a daemon that is killed and started again goes on in the same session", () =>
    withYard({}, async (yard) => {
        await yard.post(OPEN);
        const page = await yard.device();
        await yard.read(1, "999000000055555");
        await shows(page, {word: "HOLD"});
        await yard.ask({kill: true});
        await lost(page).waitFor({timeout: 3000});
        await yard.ask({start: true});
        await lost(page).waitFor({state: "detached"});
        await yard.read(2);
        await shows(page, {word: "GO", number: "0002"});
        await counts(page, {seen: 2});
        assert.match(await queueText(page), /1 in all/);
    }));

test("a number that was called while the line was lost arrives once", () =>
    withYard({}, async (yard) => {
        await yard.post(OPEN);
        const page = await yard.device();
        await yard.read(1);
        await shows(page, {number: "0001"});
        await yard.ask({kill: true});
        await lost(page).waitFor();
        await sawByTouch(page, "0007", "It gave no reading");
        await soon(async () =>
            assert.match(
                await page.locator("#alarms").innerText(),
                /Not sent: call 0007\. It goes out when the line is back/,
            ),
        );
        await page
            .getByRole("button", {name: "Back", exact: true})
            .click({timeout: 500})
            .catch(() => {});
        await yard.ask({start: true});
        await shows(page, {number: "0007", reason: "tag gave no reading"});
        await soon(async () => assert.doesNotMatch(await page.locator("#alarms").innerText(), /Not sent/));
        const {findings} = await yard.post({do: "findings"});
        assert.deepEqual(
            findings.findings.map((f) => f.reason),
            ["no-reading"],
        );
    }));

test("an answer that was lost is not a call made twice", () =>
    withYard({}, async (yard) => {
        await yard.post(OPEN);
        const page = await yard.device();
        const seq = async () => (await yard.post({do: "status"})).last_seq;
        const before = await seq();
        let cut = 0;
        await page.route("**/do", async (route) => {
            // it arrives, its answer does not
            await fetch(yard.url + "/do", {
                method: "POST",
                headers: {"Content-Type": "application/json"},
                body: route.request().postData(),
            });
            cut++;
            await route.abort();
        });
        await sawByTouch(page, "0007", "It gave no reading");
        await shows(page, {number: "0007"});
        await soon(async () => assert.match(await page.locator("#alarms").innerText(), /Not sent: call 0007/));
        await page.unroute("**/do");
        await page.reload();
        await soon(async () => assert.equal(await page.locator("#alarms .alarm").count(), 0));
        assert.equal(cut, 1);
        assert.equal(await seq(), before + 1, "one event in the journal, not two");
        const {findings} = await yard.post({do: "findings"});
        assert.deepEqual(
            findings.findings.map((f) => f.reason),
            ["no-reading"],
        );
    }));

test("what was said of the one just read waits when others went by since", () =>
    withYard({}, async (yard) => {
        await yard.post(OPEN);
        const page = await yard.device();
        await yard.read(1);
        await shows(page, {number: "0001"});
        await page.route("**/do", (route) => route.abort());
        await sawByTouch(page, "0009", "It is the one just read: 0001");
        await soon(async () => assert.match(await page.locator("#alarms").innerText(), /Not sent: call 0009/));
        await yard.read(2);
        await shows(page, {number: "0002"});
        await page.unroute("**/do");
        await yard.ask({kill: true});
        await lost(page).waitFor();
        await yard.ask({start: true});
        await soon(async () => assert.match(await page.locator("#alarms").innerText(), /Others went by since/));
        const {findings} = await yard.post({do: "findings"});
        assert.equal(findings.counts.conflict, 0, "it was not said of the wrong animal");
        await page.getByRole("button", {name: "Drop"}).tap();
        await soon(async () => assert.equal(await page.locator("#alarms .alarm").count(), 0));
    }));

await run("line");
await endBrowser();
