// Pictures: the tag as it should look, which ear it is in, and the signs of attention.
import {_, clean, svg, word} from "./common.js";

// Fill and print. Every pair has a contrast of at least 7 to 1.
const COLOURS = {
	yellow: ["#ffe04a", "#15120b"],
	orange: ["#ff9f3c", "#15120b"],
	white: ["#ffffff", "#15120b"],
	green: ["#74cf7c", "#15120b"],
	red: ["#9c1010", "#ffffff"],
	blue: ["#17468f", "#ffffff"],
	purple: ["#5a2a86", "#ffffff"],
	violet: ["#5a2a86", "#ffffff"],
	pink: ["#ffa9c6", "#15120b"],
	black: ["#15120b", "#ffffff"],
	brown: ["#5a3312", "#ffffff"],
	grey: ["#c4c2bb", "#15120b"],
	gray: ["#c4c2bb", "#15120b"],
	silver: ["#d3d6d8", "#15120b"],
	turquoise: ["#5fd3cf", "#15120b"],
	gold: ["#e6bd3a", "#15120b"],
	lime: ["#c3e84b", "#15120b"],
};

export function colourOf(word) {
	const name = String(word ?? "")
		.toLowerCase()
		.trim();
	return COLOURS[name] ?? COLOURS[name.split(/[ -]/).pop()] ?? null;
}

/** A long official number in two: what all share, and the end by which people tell them apart. */
export function splitNumber(number) {
	const text = clean(number).trim();
	if (text.length <= 6) return ["", text];
	const words = text.split(/[ ./-]+/);
	const last = words[words.length - 1];
	const cut = words.length > 1 && last.length >= 2 && last.length <= 6 ? last.length : 5;
	return [text.slice(0, -cut).trim(), text.slice(-cut)];
}

/* Digits as tall as the room allows: they are drawn narrow before they are drawn small. */
function lettering(text, width, tallest, narrowest) {
	const natural = 0.7 * Math.max(1, text.length);
	const size = Math.min(tallest, width / (natural * narrowest));
	return {
		"font-size": size.toFixed(1),
		textLength: natural * size > width ? width : null,
		lengthAdjust: "spacingAndGlyphs",
	};
}

function print(number, ink, round) {
	const [head, tail] = splitNumber(number);
	const shown = head.length > 16 ? "\u2026" + head.slice(-15) : head;
	const big = lettering(tail || " ", round ? 196 : 276, shown ? 126 : 176, 0.66);
	const middle = (round ? 140 : 158) + (shown ? 18 : 0);
	const text = (y, look, weight, t) =>
		svg(
			"text",
			{
				x: 160,
				y,
				"font-weight": weight,
				"text-anchor": "middle",
				fill: ink,
				direction: "ltr",
				"unicode-bidi": "isolate-override",
				...look,
			},
			t,
		);
	return [
		shown && text(round ? 82 : 92, lettering(shown, round ? 130 : 264, 40, 0.8), 700, shown),
		text(middle + Number(big["font-size"]) * 0.36, big, 800, tail),
	];
}

/** A tag: {number, colour, form}. What is not known of it is drawn as not known. */
export function tagPicture(tag, small) {
	const paint = colourOf(tag.colour);
	const [ground, ink] = paint ?? ["#ffffff", "#15120b"];
	const round = tag.form === "button tag";
	const shape = {
		fill: ground,
		stroke: "currentColor",
		"stroke-width": 7,
		"stroke-dasharray": paint ? null : "16 10",
	};
	const body = round
		? svg("circle", {cx: 160, cy: 138, r: 126, ...shape})
		: svg("path", {
				d: "M132 8h56l10 38h92q22 0 22 22v178q0 22-22 22H30q-22 0-22-22V68q0-22 22-22h92z",
				...shape,
			});
	const hole = round
		? null
		: svg("circle", {cx: 160, cy: 28, r: 10, fill: "none", stroke: ink, "stroke-width": 5});
	const words = [tag.number || _`no number`, tag.colour, word(tag.place)].filter(Boolean).map(clean).join(", ");
	return svg(
		"svg",
		{viewBox: "0 0 320 276", class: small ? "tag small" : "tag", role: "img", "aria-label": _`Tag: ${words}`},
		svg("rect", {x: 0, y: 0, width: 320, height: 276, fill: "none"}),
		body,
		hole,
		print(tag.number, ink, round),
	);
}

/** The head from behind, as one walks up to it: its left ear is on the left. */
export function earPicture(place) {
	const ear = (side, d) => svg("path", {d, class: place === side + " ear" ? "ear here" : "ear"});
	return svg(
		"svg",
		{viewBox: "0 0 140 76", class: "head", "aria-hidden": "true"},
		svg("path", {d: "M58 20Q56 8 46 4M82 20Q84 8 94 4", class: "horn"}),
		ear("left", "M52 26Q26 14 5 34Q22 52 52 42z"),
		ear("right", "M88 26Q114 14 135 34Q118 52 88 42z"),
		svg("path", {d: "M52 24Q70 12 88 24L84 58Q70 80 56 58z", class: "skull"}),
	);
}

// A gate at the race: open, ajar with an eye on it, shut.
const GATES = {
	go: [
		["M10 6v68M110 6v68", "post"],
		["M28 40h54M64 20l22 20-22 20", "bar"],
	],
	look: [
		["M6 40Q60-10 114 40Q60 90 6 40z", "bar"],
		["M60 26a14 14 0 1 0 .1 0z", "dot"],
	],
	hold: [
		["M8 4v72M112 4v72", "post"],
		["M8 14h104M8 31h104M8 48h104M8 65h104M12 68L108 12", "bar"],
	],
};

export function gatePicture(attention) {
	return svg(
		"svg",
		{viewBox: "0 0 120 80", class: "gate", "aria-hidden": "true"},
		(GATES[attention] ?? []).map(([d, kind]) => svg("path", {d, class: kind})),
	);
}
