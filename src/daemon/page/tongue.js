// What this device has chosen: its settings and its language. The English in the sources is the key
// of every other language's words; those come from src/report/po, as the terminal's do.

// Private windows may refuse to keep them.
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

const LANGUAGES = ["en", "de"];
let words = {};

/** A text in this device's language: _`${n} found`. */
export function _(parts, ...values) {
	const key = parts.reduce((text, part, i) => `${text}{${i - 1}}${part}`);
	return word(key).replace(/\{(\d)\}/g, (place, n) => values[n]);
}

/** A word of the machine forms, for people; data is none and stays. `of` says which meaning. */
export function word(name, of = "") {
	const key = Object.hasOwn(words, of + name) ? of + name : name;
	return Object.hasOwn(words, key) ? words[key] : name;
}

/** A machine name such as "not-in-register", for people. */
export const plain = name => word(String(name ?? "").replaceAll("-", " "));

/** One of a thing, or none and many. */
export const some = (n, one, many) => (n === 1 ? one : many);

/** Where a view is that has words of its own; those are in this device's language, too. */
export const inTongue = path => {
	const {lang} = document.documentElement;
	return lang === "en" ? path : `${path}&lang=${lang}`;
};

/* What stands in the HTML is English, too. */
function translatePage() {
	const texts = document.createTreeWalker(document, NodeFilter.SHOW_TEXT);
	while (texts.nextNode()) {
		const key = texts.currentNode.data.replace(/\s+/g, " ").trim();
		if (key !== "") texts.currentNode.data = texts.currentNode.data.replace(/\S[^]*\S/, () => word(key));
	}
	for (const node of document.querySelectorAll("[aria-label]"))
		node.setAttribute("aria-label", word(node.getAttribute("aria-label")));
}

async function speak() {
	const asked = [kept("language", ""), ...navigator.languages].map(name => String(name).slice(0, 2));
	const language = asked.find(name => LANGUAGES.includes(name)) ?? "en";
	if (language === "en") return;
	try {
		words = (await import(`/words_${language}.js`)).default;
	} catch {
		return; // the line went just now: English is better than nothing
	}
	document.documentElement.lang = language;
	translatePage();
}

/** A button that changes the language; the page comes anew in it. */
export function languageButton(button) {
	button.append(_`Language: English`);
	button.addEventListener("click", () => {
		const at = LANGUAGES.indexOf(document.documentElement.lang);
		keep("language", LANGUAGES[(at + 1) % LANGUAGES.length]);
		location.reload();
	});
}

if (globalThis.document) await speak();
