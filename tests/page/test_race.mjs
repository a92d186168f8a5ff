// The race page with a real daemon, a pseudo-terminal reader and a real browser: by touch.
import assert from "node:assert/strict";
import {run, test} from "./tap.mjs";
import {keys, OPEN, openByTouch, sawByTouch} from "./touch.mjs";
import {board, code, counts, endBrowser, queueText, shows, soon, withYard} from "./yard.mjs";

test("a whole session by touch", () =>
    withYard({}, async (yard) => {
        const page = await yard.device();
        await shows(page, {word: "NO SESSION"});
        await openByTouch(page);
        await shows(page, {kind: "ready", word: "READY"});
        await counts(page, {expected: 40, seen: 0, "not yet seen": 40, heads: "\u2013"});
        assert.match(await page.locator("#what").innerText(), /walk . mob does/);

        await yard.read(1);
        await shows(page, {kind: "go", word: "GO", number: "0001", reason: "on the roll"});
        const first = await board(page);
        assert.match(first.where, /left ear.*yellow.*female/);
        assert.equal(
            await page.locator("#stage .tag path").first().getAttribute("fill"),
            "#ffe04a",
            "drawn yellow",
        );
        assert.equal(await page.locator("#stage .head .here").count(), 1);

        await yard.read("999000000055555");
        await shows(page, {kind: "hold", word: "HOLD", reason: "nobody we know +1", number: "?"});
        assert.equal(await page.title(), "HOLD \u202655555");
        await yard.read(2);
        await shows(page, {kind: "go", number: "0002"});
        assert.match(
            await queueText(page),
            /1 in all\s+HOLD .55555\s*nobody we know/,
            "a flagged one stays until it was looked at",
        );

        await sawByTouch(page, "0007", "It gave no reading");
        await shows(page, {kind: "look", word: "LOOK", number: "0007", reason: "tag gave no reading"});
        await counts(page, {seen: 3, "not yet seen": 37});
        assert.match(await queueText(page), /2 in all\s+HOLD/, "hold before look");
        await sawByTouch(page, "0009", "It is the one just read: 0002");
        await shows(page, {kind: "hold", reason: "number and code differ"});
        assert.match(await queueText(page), /3 in all/);

        await page.locator("#undo").tap();
        await page.getByText("Take back the call 0009?").waitFor();
        await page.getByRole("button", {name: "Take it back"}).tap();
        await soon(async () => assert.match(await queueText(page), /2 in all/));
        await shows(page, {kind: "look", number: "0007"});

        await page.getByRole("button", {name: "Looked at"}).tap();
        await soon(async () => assert.match(await queueText(page), /1 in all\s+LOOK 0007/));
        await page.reload();
        await shows(page, {kind: "look", number: "0007"});
        assert.match(await queueText(page), /1 in all\s+LOOK 0007/, "what was looked at stays so after a reload");
        await counts(page, {expected: 40, seen: 3, "not yet seen": 37, heads: "\u2013"});

        await page.locator("#head").tap();
        await keys(page, "12");
        await page.getByRole("button", {name: "Save the head count"}).tap();
        await counts(page, {heads: 12, seen: 3});

        await page.locator("#tally button").tap();
        await page.getByText("37 not yet seen. Not read is not absent.").waitFor();
        assert.equal(await page.locator("dialog .rows li").count(), 37);
        await page.getByRole("button", {name: "Back", exact: true}).tap();

        await page.locator("#more").tap();
        await page.getByRole("button", {name: "Close the session"}).tap();
        const sums = await page.locator("dialog .sums").innerText();
        assert.match(
            sums,
            /Expected, in the book\s+40\s+Heads counted\s+12\s+Animals identified\s+3\s+Not yet seen\s+37/,
        );
        await page.getByRole("button", {name: "Close it"}).tap();
        await shows(page, {word: "CLOSED"});
        const said = JSON.parse((await yard.lugmark("findings", "1", "--json")).out);
        assert.deepEqual(
            [
                said.expected,
                said.heads,
                said.identified,
                said.counts.missing,
                said.counts.unmatched,
                said.counts.conflict,
            ],
            [40, 12, 3, 37, 1, 0],
        );
    }));

test("the type-ahead names those not yet seen", () =>
    withYard({}, async (yard) => {
        await yard.post(OPEN);
        await yard.read(1, 2, 3);
        const page = await yard.device();
        await shows(page, {number: "0003"});
        await page.locator("#call").tap();
        await soon(async () => assert.match(await page.locator("#guess-count").innerText(), /^37 of/));
        await keys(page, "001");
        /* The list of all is eight rows long, too, and stands until the answer comes. */
        await soon(async () => {
            const guesses = await page.locator("#guesses li").allInnerTexts();
            assert.equal(guesses.length, 8);
            assert(
                guesses.every((text) => /001\d[^]*yellow, left ear, female, does/.test(text)),
                guesses.join("; "),
            );
        });
        await keys(page, "4");
        await soon(async () => assert.equal(await page.locator("#guesses li").count(), 1));
        await page.locator("#guesses li").tap();
        assert.equal(await page.locator("#number").inputValue(), "0014");
        await page.getByRole("button", {name: "It gave no reading"}).tap();
        await shows(page, {number: "0014", kind: "look"});
        await page.locator("#call").tap();
        await keys(page, "0001");
        await soon(async () => assert.match(await page.locator("#guess-count").innerText(), /^Nobody of those/));
    }));

test("two telephones at once", () =>
    withYard({}, async (yard) => {
        const [a, b] = [await yard.device(), await yard.device("/", {size: "landscape"})];
        await openByTouch(a);
        await shows(b, {word: "READY"});
        await yard.read(5);
        for (const page of [a, b]) await shows(page, {number: "0005"});
        await Promise.all([
            sawByTouch(a, "0011", "It gave no reading"),
            sawByTouch(b, "0012", "It gave no reading"),
        ]);
        for (const page of [a, b]) {
            await counts(page, {seen: 3});
            assert.match(await queueText(page), /2 in all/);
        }
        assert.deepEqual(await board(a), await board(b), "both say the same");
        await a.getByRole("button", {name: "Looked at"}).tap();
        await soon(async () => assert.match(await queueText(a), /1 in all/));
        assert.match(await queueText(b), /2 in all/, "each looks at its own");
        await b.locator("#undo").tap();
        await b.getByRole("button", {name: "Take it back"}).tap();
        for (const page of [a, b]) await counts(page, {seen: 2});
        assert.equal((await yard.post({do: "findings"})).findings.counts.unread, 1);
    }));

test("two lanes: a call is for the one just read in its lane", () =>
    withYard({readers: ["front", "side"]}, async (yard) => {
        await yard.post(OPEN);
        const page = await yard.device();
        await yard.read(1);
        await shows(page, {number: "0001"});
        await yard.ask({read: [code(2)], reader: "side"});
        await shows(page, {number: "0002"});
        assert.match((await board(page)).where, /^lane 2/);
        await page.locator("#call").tap();
        await keys(page, "0009");
        await page.getByRole("button", {name: "It is the one just read: 0002"}).waitFor();
        await page.locator("dialog .choice").getByText("1", {exact: true}).tap();
        await page.getByRole("button", {name: "It is the one just read: 0001"}).tap();
        await shows(page, {word: "HOLD", reason: "number and code differ"});
        assert.match((await board(page)).where, /^lane 1/);
        await page.locator("#head").tap();
        await keys(page, "2");
        await page.locator("dialog .choice").getByText("2", {exact: true}).tap();
        await page.getByRole("button", {name: "Save the head count"}).tap();
        await counts(page, {heads: 2});
    }));

test("a count and a sale are opened by touch; a lot names its animals as people do", () =>
    withYard({}, async (yard) => {
        const page = await yard.device();
        await page.locator("#open").tap();
        await page.getByText("Count", {exact: true}).tap();
        await page.locator("#count").fill("2026");
        await page.getByRole("button", {name: "Open the session"}).tap();
        await shows(page, {word: "READY"});
        assert.match(await page.locator("#what").innerText(), /count . count 2026/);
        await counts(page, {expected: 41});
        await yard.post({do: "close"});

        await page.locator("#open").tap();
        await page.getByText("Sale", {exact: true}).tap();
        await page.locator("#lot").fill("spring");
        await page.locator("#animals").fill("0004\nA5, 9001\nnobody");
        await page.getByRole("button", {name: "Open the session"}).tap();
        await page.getByText("Nobody is called nobody.").waitFor();
        await page.locator("#animals").fill("0004\nA5, 9001\n0004");
        await page.getByRole("button", {name: "Open the session"}).tap();
        await shows(page, {word: "READY"});
        await counts(page, {expected: 3});
        await yard.read(6);
        await shows(page, {word: "HOLD", reason: "not in this lot"});
        await yard.read(4, 5);
        await counts(page, {seen: 2});
        await yard.post({do: "close"});
        await page.goto(`${yard.url}/book#sale=2`);
        await page.getByRole("heading", {name: "Sale, session 2"}).waitFor();
        assert.match(await page.locator("#page").innerText(), /your animal-health authority decides/);
        assert.deepEqual((await page.locator("tbody tr td:nth-child(3)").allInnerTexts()).sort(), [
            "A4",
            "A5",
            "B1",
        ]);
    }));

await run("race");
await endBrowser();
