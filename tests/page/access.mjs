// Faults of access: what axe finds, and what is too small for a glove.
import assert from "node:assert/strict";
import {readFileSync} from "node:fs";
import {createRequire} from "node:module";

const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

export async function scan(page, aaa) {
    const found = await page.evaluate(
        async ([source, enhanced]) => {
            if (!window.axe) window.eval ? (0, eval)(source) : null;
            const is = await window.axe.run(document, {
                runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
                rules: {"color-contrast-enhanced": {enabled: enhanced}, "target-size": {enabled: true}},
            });
            return is.violations.map(
                (v) => `${v.id}: ${v.nodes.map((n) => `${n.target} ${n.any[0]?.message ?? ""}`).join("; ")}`,
            );
        },
        [AXE, aaa],
    );
    assert.deepEqual(found, []);
}

/** The page's own policy forbids eval, as it should: the scanner comes in by the browser's door. */
export async function ready(page) {
    const session = await page.context().newCDPSession(page);
    await session.send("Page.setBypassCSP", {enabled: true});
    await page.reload();
}

export async function sheets(page, keys, each) {
    for (const key of keys) {
        await page.keyboard.press(key);
        await page.locator("dialog[open]").waitFor();
        await page.waitForTimeout(150);
        await each(`sheet ${key}`);
        await page.keyboard.press("Escape");
        await page.locator("dialog").waitFor({state: "detached"});
    }
}

export function touching(page) {
    return page.evaluate(() =>
        [
            ...document.querySelectorAll(
                "button, a.button, summary, select, input:not([type=radio]):not([type=checkbox]), .choice label, .switch, #guesses li",
            ),
        ]
            .filter((node) => node.offsetParent !== null && getComputedStyle(node).visibility === "visible")
            .map((node) => {
                const cell = node.closest("#tally div") ?? node;
                const box = cell.getBoundingClientRect();
                return [
                    node.textContent.trim().slice(0, 24) || node.id,
                    Math.round(box.width),
                    Math.round(box.height),
                ];
            })
            .filter(([, width, height]) => width < 55.5 || height < 55.5),
    );
}
