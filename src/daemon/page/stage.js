// The board that is read from three metres: one animal, one word, one reason.
import {_, clean, codeText, h, inTongue, plain, said, word as inWords} from "./common.js";
import {markByPlan, marksOf, numberOf, WORDS} from "./model.js";
import {earPicture, gatePicture, splitNumber, tagPicture} from "./tag.js";

function word(attention, text) {
	return h("p", {class: "word"}, gatePicture(attention), h("strong", {}, text));
}

function bars() {
	return h("div", {class: "bars", "aria-hidden": "true"});
}

function notice(kind, big, ...more) {
	return {kind, nodes: [bars(), word(kind === "ready" ? "go" : "hold", big), ...more, bars()]};
}

function worn(mark, title) {
	const words = [mark.colour, inWords(mark.place)].filter(Boolean).join(", ");
	return h(
		"figure",
		{},
		tagPicture(mark, title !== ""),
		title && h("figcaption", {}, title, words && h("br"), words && said(words)),
	);
}

function marks(v) {
	const [first, ...others] = marksOf(v);
	const small = others.slice(0, 2).map(m => worn(m, _`also`));
	if (v.should) small.unshift(worn(markByPlan(v.should, first), _`by the plan`));
	const shown = {...first, number: first.number || v.called || (v.animal ? "" : "?")};
	return h(
		"div",
		{class: small.length > 0 ? "marks many" : "marks"},
		worn(shown, ""),
		small.length > 0 && h("div", {class: "others"}, small),
	);
}

function where(v, lanes) {
	const place = marksOf(v)[0].place || v.place;
	const facts = [lanes > 1 && v.lane && _`lane ${v.lane}`, inWords(place), marksOf(v)[0].colour || v.colour, inWords(v.sex)].filter(
		Boolean,
	);
	if (facts.length === 0) return null;
	return h(
		"p",
		{class: "where"},
		place && earPicture(place),
		h(
			"span",
			{},
			facts.map((f, i) => [i > 0 ? " \u00b7 " : "", said(f)]),
		),
	);
}

function details(v, lanes) {
	const called = v.called && h("span", {}, _`called `, said(v.called), " ");
	const text = v.text && h("span", {}, _`read as `, said(v.text), " ");
	const key = v.animal && h("span", {}, said(v.animal), ", ", v.mob && [_`mob `, said(v.mob), " "]);
	return h(
		"p",
		{class: "code"},
		called,
		text,
		key,
		v.eid && codeText(v.eid),
		lanes < 2 && v.lane && [_` lane `, said(v.lane)],
		(v.reasons ?? []).length > 1 && ` (${v.reasons.map(plain).join(", ")})`,
	);
}

function animal(v, lanes) {
	const reasons = (v.reasons ?? []).length;
	const more = reasons > 1 ? ` +${reasons - 1}` : "";
	return {
		kind: v.attention,
		nodes: [
			bars(),
			h(
				"div",
				{class: "head-line"},
				word(v.attention, WORDS[v.attention] ?? WORDS.hold),
				h("p", {class: "reason"}, said(inWords(v.say || "on the roll")), more),
			),
			marks(v),
			h("div", {class: "about"}, where(v, lanes), details(v, lanes)),
			bars(),
		],
	};
}

function none(model, may) {
	const idle = model.idle && h("p", {class: "reason"}, _`A code was read and not kept`);
	const closed = model.session?.closed;
	const id = closed && encodeURIComponent(model.session.id);
	return notice(
		model.idle ? "none idle" : "none",
		closed ? _`CLOSED` : _`NO SESSION`,
		idle,
		h("p", {class: "where"}, may === "act" ? _`Open a session to begin.` : _`Nobody has opened a session.`),
		closed &&
			h(
				"p",
				{class: "links"},
				h("a", {class: "button", href: `/book#session=${id}`}, _`What it found`),
				h("a", {class: "button", href: inTongue(`/report?session=${id}`)}, _`Report to print`),
			),
	);
}

/** What the stage shows now: {kind, nodes}. */
export function stageOf(model) {
	if (!model.open) return none(model, model.may);
	if (model.last === null)
		return notice("ready", _`READY`, h("p", {class: "where"}, _`The next animal shows here.`));
	return animal(model.last, model.lanes.length);
}

/** The same for the ear: short enough to be heard before the next one comes. */
export function spoken(v) {
	const number = numberOf(v);
	const [, tail] = splitNumber(number);
	const name = number === "" ? _`unknown` : tail;
	if (v.attention === "go") return name;
	const place = marksOf(v)[0].place || v.place;
	return [`${WORDS[v.attention] ?? WORDS.hold}: ${name}`, inWords(v.say), inWords(place)].filter(Boolean).map(clean).join(", ");
}
