// The pictures of the README, made anew from the demo's register: node pictures.mjs FOLDER.
import {mkdirSync, readFileSync} from "node:fs";
import {join} from "node:path";
import {fileURLToPath, pathToFileURL} from "node:url";
import {endBrowser, launch, soon, withYard} from "./yard.mjs";
import assert from "node:assert/strict";

const folder = process.argv[2] ?? fileURLToPath(new URL("../../fixtures/demo/pictures", import.meta.url));
const register = readFileSync(new URL("../../fixtures/demo/register.csv", import.meta.url), "utf8");
const rows = register.trim().split("\n").map((line) => line.split(","));
const at = (name) => rows[0].indexOf(name);
const does = rows
    .slice(1)
    .filter((r) => r[at("mob")] === "does" && r[at("status")] === "on-farm" && r[at("eid")] && !r[at("removed")]);
const kids = rows.slice(1).filter((r) => r[at("mob")] !== "does" && r[at("eid")]);

mkdirSync(folder, {recursive: true});
await withYard({register}, async (yard) => {
    await yard.post({do: "open", kind: "walk", mob: "does", who: "keeper"});
    const page = await yard.device("/");
    const shoot = (name) => page.screenshot({path: join(folder, name + ".png")});
    const passes = async (n) =>
        soon(async () => {
            const status = await yard.post({do: "status"});
            assert.equal(status.tally.passes, n);
        });
    /* The first that came is nobody's fault: it is the one to be seen going. */
    await yard.read(...does.slice(1, -4).map((r) => r[at("eid")]), does[0][at("eid")]);
    await passes(does.length - 4);
    await page.waitForTimeout(500);
    await shoot("go");
    await yard.read(kids[0][at("eid")]);
    await passes(does.length - 3);
    await page.waitForTimeout(500);
    await yard.read("999000000099999");
    await passes(does.length - 2);
    await page.waitForTimeout(500);
    await shoot("hold");
    await yard.post({do: "saw", number: does.at(-2)[at("visual")]});
    await yard.post({do: "head", n: does.length});
    await yard.post({do: "close"});
    const wide = await yard.device("/book#session=1", {size: "wide", touch: false});
    await wide.waitForTimeout(2500);
    await wide.screenshot({path: join(folder, "book.png")});
    const path = join(folder, "report.html");
    await yard.lugmark("report", "1", "-o", path, "--overwrite");
    const context = await (await launch()).newContext({viewport: {width: 800, height: 1130}});
    const printed = await context.newPage();
    await printed.goto(pathToFileURL(path).href);
    await printed.screenshot({path: join(folder, "report.png")});
});
await endBrowser();
