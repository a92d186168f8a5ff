// What a thumb does on the race page.
export const OPEN = {do: "open", kind: "walk", mob: "does"};

export async function openByTouch(page) {
    await page.locator("#open").tap();
    const mob = page.locator("#mob");
    if ((await mob.evaluate((node) => node.localName)) === "select") await mob.selectOption("does");
    else await mob.fill("does");
    await page.locator("#who").fill("W");
    await page.getByRole("button", {name: "Open the session"}).tap();
}

export async function keys(page, digits) {
    for (const digit of digits) await page.locator(".keypad button", {hasText: new RegExp(`^${digit}$`)}).tap();
}

export async function sawByTouch(page, digits, which) {
    await page.locator("#call").tap();
    await keys(page, digits);
    await page.getByRole("button", {name: which}).tap();
}
