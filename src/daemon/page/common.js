// What every page needs: elements made safely, requests, the light and dark switch.

// Characters that would turn, hide or split what stands beside them are shown as a box.
const UNSEEN =
	/[\u0000-\u001f\u007f-\u009f\u00ad\u061c\u115f\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb]/g;

export function clean(text) {
	return String(text ?? "").replace(UNSEEN, "\u25a1");
}

const SVG = "http://www.w3.org/2000/svg";

function fill(node, props, children) {
	for (const [name, value] of Object.entries(props ?? {})) {
		if (value === undefined || value === null || value === false) continue;
		if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
		else node.setAttribute(name, value === true ? "" : clean(value));
	}
	for (const child of children.flat(3))
		if (child !== undefined && child !== null && child !== false && child !== "")
			node.append(child instanceof Node ? child : clean(child));
	return node;
}

/** An element. Children that are no nodes are text, whatever they look like. */
export function h(name, props, ...children) {
	return fill(document.createElement(name), props, children);
}

export function svg(name, props, ...children) {
	return fill(document.createElementNS(SVG, name), props, children);
}

export const $ = id => document.getElementById(id);

/** A text by the register's people: it keeps its own direction and breaks where it must. */
export const said = (text, props) => h("bdi", props, text);

/** Replace what an element holds, but only when it differs: screen readers hear each change. */
export function say(node, text) {
	const plain = clean(text);
	if (node.textContent !== plain) node.textContent = plain;
}

export function token() {
	const bytes = crypto.getRandomValues(new Uint8Array(12));
	return "page-" + Array.from(bytes, b => b.toString(16).padStart(2, "0")).join("");
}

/** A failure in words a person can act on; `sent` is false when nobody answered. */
export class Trouble extends Error {
	constructor(error, mend, answered) {
		super(error);
		this.mend = mend ?? "";
		this.answered = answered;
	}
}

async function request(path, options, wait) {
	let response, answer;
	try {
		response = await fetch(path, {
			credentials: "same-origin",
			cache: "no-store",
			signal: AbortSignal.timeout(wait),
			...options,
		});
		answer = await response.json();
	} catch {
		throw new Trouble("The daemon did not answer.", "Check that this device still reaches it.", false);
	}
	if (!response.ok || answer.ok === false)
		throw new Trouble(answer.error ?? `It answered ${response.status}.`, answer.mend, true);
	return answer;
}

export const get = path => request(path, {}, 30000);

export function post(path, body, wait = 8000) {
	return request(
		path,
		{
			method: "POST",
			headers: {"Content-Type": "application/json"},
			body: JSON.stringify(body),
		},
		wait,
	);
}

export function trouble(error) {
	return h("p", {class: "trouble", role: "alert"}, h("strong", {}, error.message), " ", error.mend ?? "");
}

// Settings of this device. Private windows may refuse to keep them.
export function keep(name, value) {
	try {
		localStorage.setItem("lugmark." + name, JSON.stringify(value));
	} catch {
		/* then it holds until the page is closed */
	}
}

export function kept(name, otherwise) {
	try {
		return JSON.parse(localStorage.getItem("lugmark." + name)) ?? otherwise;
	} catch {
		return otherwise;
	}
}

const THEMES = ["auto", "light", "dark"];

function wear(theme) {
	document.documentElement.dataset.theme = THEMES.includes(theme) ? theme : "auto";
}

/** A button that goes round: as the device says, light, dark. */
export function themeButton(button) {
	const show = () =>
		say(
			button,
			{auto: "Light: as device", light: "Light: bright", dark: "Light: dark"}[
				document.documentElement.dataset.theme
			],
		);
	button.addEventListener("click", () => {
		const at = THEMES.indexOf(document.documentElement.dataset.theme);
		wear(THEMES[(at + 1) % THEMES.length]);
		keep("theme", document.documentElement.dataset.theme);
		show();
	});
	show();
}

/** "999000000012345" as people read it aloud. */
export function codeText(eid) {
	return /^\d{15}$/.test(eid ?? "")
		? `${eid.slice(0, 3)} ${eid.slice(3, 7)} ${eid.slice(7, 11)} ${eid.slice(11)}`
		: clean(eid);
}

export function when(text) {
	const at = new Date(text ?? NaN);
	return isNaN(at) ? "" : at.toLocaleString([], {dateStyle: "medium", timeStyle: "short"});
}

export function sessionWords(s) {
	const parts = [s.kind, s.mob && `mob ${s.mob}`, s.lot && `lot ${s.lot}`, s.count && `count ${s.count}`];
	return parts.filter(Boolean).map(clean).join(" \u00b7 ");
}

wear(kept("theme", "auto"));
