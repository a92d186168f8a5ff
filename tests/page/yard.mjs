// A daemon with its readers (yard_host.py), and devices that show its page in a real browser.
import assert from "node:assert/strict";
import {spawn} from "node:child_process";
import {createInterface} from "node:readline";
import {fileURLToPath} from "node:url";
import {chromium} from "playwright-core";

const WAIT_S = 15; // machines that test are busy
const CHROMIUM = process.env.LUGMARK_CHROMIUM ?? "/usr/bin/chromium";
const ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
];
export const SIZES = {
    portrait: {width: 390, height: 844},
    landscape: {width: 844, height: 390},
    wide: {width: 1280, height: 800},
};

export const code = (n) => "9990000000" + String(n).padStart(5, "0");

let browser = null;

export async function launch() {
    browser ??= await chromium.launch({executablePath: CHROMIUM, args: ARGUMENTS});
    return browser;
}

export async function endBrowser() {
    await browser?.close();
    browser = null;
}

export class Yard {
    static async make(wanted = {}) {
        const y = new Yard();
        y.process = spawn("python3", [fileURLToPath(new URL("yard_host.py", import.meta.url))], {
            stdio: ["pipe", "pipe", "inherit"],
        });
        y.lines = createInterface({input: y.process.stdout})[Symbol.asyncIterator]();
        y.waiting = Promise.resolve();
        y.devices = [];
        const made = await y.ask({make: wanted});
        y.url = `http://127.0.0.1:${made.port}`;
        y.pid = made.pid;
        return y;
    }

    /* One at a time, for answers come in order. */
    ask(request) {
        this.waiting = this.waiting
            .catch(() => {})
            .then(async () => {
                this.process.stdin.write(JSON.stringify(request) + "\n");
                const {value, done} = await this.lines.next();
                assert(!done, "the yard ended");
                const answer = JSON.parse(value);
                assert(
                    answer.ok !== false || answer.error === undefined || answer.exit !== undefined,
                    answer.error,
                );
                return answer;
            });
        return this.waiting;
    }

    read(...numbers) {
        return this.ask({read: numbers.map((n) => (typeof n === "number" ? code(n) : n))});
    }

    post(body) {
        return this.ask({ask: body});
    }

    async lugmark(...args) {
        return this.ask({lugmark: args});
    }

    /** A device with its own memory that shows a page. */
    async device(path = "/", {size = "portrait", scheme = "light", touch = true, locale = "en-GB"} = {}) {
        const context = await (
            await launch()
        ).newContext({
            viewport: SIZES[size],
            colorScheme: scheme,
            hasTouch: touch,
            isMobile: touch,
            locale,
            reducedMotion: "reduce",
        });
        const page = await context.newPage();
        page.setDefaultTimeout(WAIT_S * 1000);
        page.problems = [];
        page.on("pageerror", (error) => page.problems.push(String(error)));
        page.on("console", (said) => {
            if (said.type() === "error" && !/Failed to load resource|ERR_/.test(said.text()))
                page.problems.push(said.text());
        });
        page.on("dialog", (dialog) => {
            page.problems.push(`a dialog opened: ${dialog.message()}`);
            dialog.dismiss();
        });
        this.devices.push(page);
        await page.goto(this.url + path);
        if (path === "/") await page.locator("body:not(.lost) #actions button").first().waitFor();
        return page;
    }

    async close() {
        try {
            for (const page of this.devices) {
                assert.deepEqual(page.problems, [], "the page had problems");
                await page.context().close();
            }
            await this.ask({close: true});
        } finally {
            this.process.stdin.end(); // whatever happened, the host ends, and its daemon
        }
    }
}

/** A yard for the length of one test. */
export async function withYard(wanted, body) {
    const yard = await Yard.make(wanted);
    try {
        await body(yard);
    } catch (error) {
        for (const page of yard.devices) page.problems.length = 0;
        await yard.close().catch(() => {});
        throw error;
    }
    await yard.close();
}

/** Wait until a check no longer throws. */
export async function soon(check, seconds = WAIT_S) {
    const end = performance.now() + seconds * 1000;
    for (;;) {
        try {
            return await check();
        } catch (error) {
            if (performance.now() > end) throw error;
        }
        await new Promise((done) => setTimeout(done, 25));
    }
}

/** What the board says: {word, number, reason, kind}. */
export function board(page) {
    return page.evaluate(() => {
        const text = (selector) => document.querySelector(selector)?.textContent.trim() ?? "";
        return {
            kind: document.querySelector("#stage").className,
            word: text("#stage .word strong"),
            reason: text("#stage .reason"),
            number: text("#stage .marks figure:first-child .tag text:last-of-type"),
            where: text("#stage .where"),
            code: text("#stage .code"),
        };
    });
}

export function tally(page) {
    return page.evaluate(() =>
        Object.fromEntries(
            [...document.querySelectorAll("#tally > div")].map((cell) => [
                cell.querySelector("dt").textContent,
                cell.querySelector("dd").firstChild.textContent,
            ]),
        ),
    );
}

export const queueText = (page) => page.locator("#next").innerText();

export async function shows(page, wanted) {
    await soon(async () => {
        const is = await board(page);
        for (const [key, value] of Object.entries(wanted))
            assert.equal(is[key], value, `${key} in ${JSON.stringify(is)}`);
    });
}

export async function counts(page, wanted) {
    await soon(async () => {
        const is = await tally(page);
        for (const [key, value] of Object.entries(wanted))
            assert.equal(is[key], String(value), `${key} in ${JSON.stringify(is)}`);
    });
}
