// What every page needs: elements made safely, requests, the light and dark switch.
import {_, keep, kept, word} from "./tongue.js";
export {_, inTongue, keep, kept, languageButton, plain, some, word} from "./tongue.js";

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
		throw new Trouble(_`The daemon did not answer.`, _`Check that this device still reaches it.`, false);
	}
	if (!response.ok || answer.ok === false)
		throw new Trouble(answer.error ?? _`It answered ${response.status}.`, answer.mend, true);
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

const THEMES = ["auto", "light", "dark"];

function wear(theme) {
	document.documentElement.dataset.theme = THEMES.includes(theme) ? theme : "auto";
}

/** A button that goes round: as the device says, light, dark. */
export function themeButton(button) {
	const show = () =>
		say(
			button,
			{auto: _`Light: as device`, light: _`Light: bright`, dark: _`Light: dark`}[
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

/** A moment on this device's clock: "2026-11-25 14:09". */
export function when(text) {
	const at = new Date(text ?? NaN);
	const local = new Date(at - at.getTimezoneOffset() * 60000);
	return isNaN(local) ? "" : local.toISOString().slice(0, 16).replace("T", " ");
}

export function sessionWords(s) {
	const parts = [
		word(s.kind),
		s.mob && _`mob ${s.mob}`,
		s.lot && _`lot ${s.lot}`,
		s.count && _`count ${s.count}`,
	];
	return parts.filter(Boolean).map(clean).join(" \u00b7 ");
}

wear(kept("theme", "auto"));
