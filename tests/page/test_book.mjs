// The book: animals and their history, what a session found, accepting an explanation, pairing.
import assert from "node:assert/strict";
import {run, test} from "./tap.mjs";
import {code, endBrowser, soon, withYard} from "./yard.mjs";

const heading = (page, name) => page.locator("#page:not([aria-busy]) h2", {hasText: name}).waitFor();

test("find an animal, see its devices and its history", () =>
    withYard({}, async (yard) => {
        await yard.lugmark(
            "retag",
            "A17",
            "--old",
            code(17),
            "--reason",
            "lost",
            "--eid",
            code(9017),
            "--visual",
            "0017",
        );
        const page = await yard.device("/book");
        await page.locator("#find-text").fill("0017");
        await soon(async () => assert.equal(await page.locator("#page .rows li").count(), 1));
        assert.match(
            await page.locator("#page .rows").innerText(),
            /0017[^]*A17, yellow, left ear, female, mob does, on-farm/,
        );
        await page.locator("#page .rows a").click();
        await heading(page, "Animal A17");
        assert.equal(await page.locator(".device").count(), 2);
        assert.match(await page.locator(".device.gone").innerText(), /Code 999 0000 0000 0017[^]*Removed/);
        assert.match(await page.locator("#page").innerText(), /import/);
        await page.goBack();
        await heading(page, "Find an animal");
    }));

test("a session's findings; an explanation is accepted once, and the register is changed", () =>
    withYard({}, async (yard) => {
        await yard.post({do: "open", kind: "walk", mob: "does"});
        await yard.read(
            ...[...Array(16).keys()].map((n) => n + 1),
            "999000000055555",
            ...[...Array(23).keys()].map((n) => n + 18),
        );
        await soon(async () => assert.equal((await yard.post({do: "status"})).tally.passes, 40));
        await yard.post({do: "head", n: 40});
        await yard.post({do: "close"});
        const listed = JSON.parse((await yard.lugmark("explain", "1", "--json")).out);
        const x = listed.find((e) => e.kind === "new-device");
        const page = await yard.device("/book#session=1");
        await heading(page, "Session 1");
        assert.match(
            await page.locator(".three").first().innerText(),
            /Expected, in the book\s+40\s+Heads counted\s+40\s+Animals identified\s+\d+/,
        );
        assert.match(await page.locator("#page").innerText(), /Not read is not absent/);
        assert.equal(await page.locator("summary", {hasText: "of nobody"}).innerText(), "1 code of nobody");
        assert(x, `an explanation to accept, of ${JSON.stringify(listed)}`);
        const row = page.locator(".explanation", {hasText: `${x.id} `}).first();
        await row.getByRole("button", {name: "Accept: change the book"}).click();
        await row.getByText("Accepted. The old state is kept in the history.").waitFor();
        const entry = JSON.parse((await yard.lugmark("show", x.animals[0], "--json")).out);
        assert(
            entry.devices.some((d) => d.eid === "999000000055555"),
            JSON.stringify(entry),
        );
        assert.equal((await page.request.get(`${yard.url}/report?session=1`)).status(), 200);
    }));

test("an explanation is rejected and not offered again", () =>
    withYard({}, async (yard) => {
        await yard.post({do: "open", kind: "walk", mob: "does"});
        await yard.read(...[...Array(40).keys()].map((n) => n + 1), "999000000055555");
        await soon(async () => assert.equal((await yard.post({do: "status"})).tally.passes, 41));
        await yard.post({do: "close"});
        const page = await yard.device("/book#session=1");
        await page.locator(".explanation").first().waitFor();
        const name = await page.locator(".explanation h4").first().innerText();
        await page.locator(".explanation").first().getByRole("button", {name: "Reject"}).click();
        await page.getByText("Rejected. It will not be offered again.").waitFor();
        await page.reload();
        await heading(page, "Session 1");
        await soon(async () => assert.equal(await page.getByText("Thinking").count(), 0));
        assert(!(await page.locator(".explanation h4").allInnerTexts()).includes(name));
    }));

test("sessions, counts and sales are listed", () =>
    withYard({}, async (yard) => {
        await yard.post({do: "open", kind: "count", mob: "does", count: "2026", who: "W"});
        await yard.read(1, 2);
        await soon(async () => assert.equal((await yard.post({do: "status"})).tally.passes, 2));
        await yard.post({do: "head", n: 40});
        await yard.post({do: "close"});
        const page = await yard.device("/book#sessions");
        await heading(page, "Sessions");
        assert.match(await page.locator("#page .rows span").first().innerText(), /^\d{4}-\d\d-\d\d \d\d:\d\d/);
        await page.getByRole("link", {name: "1: count \u00b7 mob does \u00b7 count 2026"}).click();
        await heading(page, "Session 1");
        await page.goto(`${yard.url}/book#counts`);
        await heading(page, "Counts");
        await page.locator("#page .rows a", {hasText: "2026"}).click();
        await heading(page, "Count 2026");
        assert.match(
            await page.locator(".three").innerText(),
            /Book\s+\d+\s+Heads counted\s+\S+[^]*Animals identified\s+2/,
        );
    }));

test("the statement of a period, three figures apart", () =>
    withYard({}, async (yard) => {
        const page = await yard.device("/book#statement");
        await page.locator("#from").fill("2026-01-01");
        await page.locator("#to").fill("2026-12-31");
        await page.getByRole("button", {name: "Show"}).click();
        await page.locator(".three").waitFor();
        assert.match(
            await page.locator(".three").innerText(),
            /Book\s+41\s+Heads counted\s+\u2013\s+no count named\s+Animals identified\s+\u2013/,
        );
        assert.match(await page.locator("table").innerText(), /goat, female/);
    }));

test("what is not there is said plainly", () =>
    withYard({}, async (yard) => {
        const page = await yard.device("/book#animal=nobody");
        await heading(page, "It cannot be shown");
        assert.match(await page.locator(".trouble").innerText(), /nobody/);
        await page.goto(`${yard.url}/book#session=77`);
        await page.locator(".trouble", {hasText: "77"}).waitFor();
    }));

test("pairing: a wrong secret is refused in plain words, and no secret stays in the address", () =>
    withYard({}, async (yard) => {
        const page = await yard.device("/pair#not-the-secret");
        await page.locator(".trouble").waitFor();
        assert.equal(new URL(page.url()).hash, "");
        assert((await page.locator(".trouble").innerText()).length > 10);
        assert.equal(await page.locator("#secret").evaluate((node) => node === document.activeElement), true);
    }));

await run("book");
await endBrowser();
