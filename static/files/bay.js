// The bay: one screen at a time, forms opened where they are needed, a number pad, a
// clock, and the plan walked on without a network.

import { add, all, line, person } from "./outbox.js";
import { fill } from "./forms.js";
import { figure, say } from "./words.js";

const job = Number(document.documentElement.dataset.job);
const byID = (id) => document.getElementById(id);

// ---- screens

let wanted = ""; // the place that the tapped link named

document.addEventListener("click", (event) => {
	const a = event.target.closest("a[href^='#']");
	if (a) wanted = a.dataset.at ?? "";
});

// dress opens the form of a slot. Forms lie in templates, so that the page is light.
function dress(slot, fresh) {
	if (slot.querySelector("form") && !fresh) return slot.querySelector("form");
	const t = byID("form-" + slot.dataset.form);
	if (!t) return null;
	slot.replaceChildren(t.content.cloneNode(true));
	const form = slot.querySelector("form");
	form.removeAttribute("id");
	const test = slot.closest(".screen").id;
	if (test.startsWith("t-")) form.dataset.test = test.slice(2);
	// The hash takes one form at a time; ids stay unique by the screen they are on.
	for (const box of form.querySelectorAll("[id]")) {
		const old = box.id;
		box.id = test + "-" + old;
		for (const l of form.querySelectorAll(`[for="${CSS.escape(old)}"]`)) l.htmlFor = box.id;
		for (const d of form.querySelectorAll(`[aria-describedby~="${CSS.escape(old)}"]`)) d.setAttribute("aria-describedby", d.getAttribute("aria-describedby").replace(old, box.id));
	}
	const mixture = slot.dataset.mixture && form.querySelector(`[name="mixture"][value="${slot.dataset.mixture}"]`);
	if (mixture) { mixture.checked = true; mixture.defaultChecked = true; }
	for (const box of form.querySelectorAll("input[inputmode=decimal], .trims input")) box.dataset.pad = "";
	if (padOn) for (const box of form.querySelectorAll("[data-pad]")) box.inputMode = "none";
	return form;
}

function choose(form, at) {
	const box = at && form.querySelector(`[name="where"][value="${CSS.escape(at)}"]`);
	if (box) { box.checked = true; box.defaultChecked = true; }
}

let shown = "";
async function showScreen() {
	const id = decodeURIComponent(location.hash.slice(1)) || "next";
	const screen = byID(id)?.closest(".screen") ?? byID("next");
	const under = screen.id.startsWith("t-") ? "all" : screen.id.startsWith("f-") ? "write" : screen.id === "tips" ? "sensors" : screen.id;
	for (const a of document.querySelectorAll(".bay .thumb a")) {
		if (a.hash === "#" + under) a.setAttribute("aria-current", "page");
		else a.removeAttribute("aria-current");
	}
	clearTimeout(going);
	box = null;
	pad.hidden = true; // the tap that led here is over
	document.body.classList.remove("padded");
	for (const slot of screen.querySelectorAll(".slot")) {
		const form = dress(slot);
		if (form) choose(form, wanted || slot.dataset.at);
	}
	for (const box of screen.querySelectorAll("input.seen")) box.checked = sessionStorage.getItem(seenKey(box)) === "yes";
	clocks();
	if (shown && shown !== screen.id) {
		scrollTo({ top: 0, behavior: "instant" });
		screen.querySelector("h2").focus({ preventScroll: true });
	}
	shown = screen.id;
	wanted = "";
	const mend = Number(new URLSearchParams(location.search).get("mend"));
	if (mend) {
		const item = (await all()).find((i) => i.seq === mend && i.state === "refused");
		const form = screen.querySelector(".slot form");
		if (item && form) { fill(form, item); history.replaceState(null, "", location.pathname + location.hash); }
	}
}
addEventListener("hashchange", showScreen);
document.documentElement.classList.add("screened");

// ---- cautions

const seenKey = (box) => `seen:${person}:${job}:${box.dataset.test}`;
document.addEventListener("change", (event) => {
	if (event.target.matches("input.seen")) sessionStorage.setItem(seenKey(event.target), event.target.checked ? "yes" : "no");
});

// ---- the number pad, where fingers are the pointer

let padOn = matchMedia("(pointer: coarse)").matches && localStorage.getItem("pad") !== "off";
const pad = byID("pad");
let box = null;

// The pad goes a moment later than the cursor, and its room stays until the screen
// changes: nothing may move under a finger that is about to tap.
let going = 0;
function hidePad() {
	box = null;
	clearTimeout(going);
	going = setTimeout(() => { pad.hidden = true; }, 350);
}

document.addEventListener("focusin", (event) => {
	if (event.target.matches?.("[data-pad]")) {
		if (!padOn) return;
		box = event.target;
		clearTimeout(going);
		pad.hidden = false;
		document.body.classList.add("padded");
		box.scrollIntoView({ block: "center" });
	} else if (box && !event.target.closest?.("#pad")) hidePad();
});

function type(text) {
	box.setRangeText(text, box.selectionStart ?? box.value.length, box.selectionEnd ?? box.value.length, "end");
	box.dispatchEvent(new Event("input", { bubbles: true }));
}

pad.addEventListener("pointerdown", (event) => event.preventDefault()); // the box keeps the cursor
pad.addEventListener("click", (event) => {
	const key = event.target.closest("button")?.dataset.key;
	if (!key || !box) return;
	if (key === "sign") {
		box.value = box.value.startsWith("-") ? box.value.slice(1) : "-" + box.value.replace(/^\+/, "");
	} else if (key === "back") {
		const end = box.selectionEnd ?? box.value.length, start = box.selectionStart ?? end;
		box.setRangeText("", start === end ? Math.max(0, start - 1) : start, end, "end");
	} else if (key === "keys") {
		const typed = box;
		for (const b of document.querySelectorAll("[data-pad]")) b.inputMode = "decimal";
		padOn = false;
		hidePad();
		typed.blur();
		typed.inputMode = "text";
		typed.focus();
		padOn = true;
	} else if (key === "next") {
		const boxes = [...box.form.querySelectorAll("[data-pad]")];
		const next = boxes[boxes.indexOf(box) + 1];
		if (next) next.focus();
		else { const b = box.form.querySelector("button.button"); hidePad(); b.focus(); b.scrollIntoView({ block: "center" }); }
	} else type(key);
});

// ---- the clock of a test: minutes really spent

const clockKey = (test) => `clock:${person}:${job}:${test}`;
const readClock = (test) => JSON.parse(localStorage.getItem(clockKey(test)) ?? "null");

// spent is how long a test's clock has run, in minutes. A clock left on overnight is
// not work: four hours are the most.
function spent(test) {
	const c = readClock(test);
	return c ? Math.min(240, (c.sum + (c.since ? Date.now() - c.since : 0)) / 60000) : 0;
}

function clocks() {
	for (const c of document.querySelectorAll(".clock")) {
		c.hidden = false;
		const on = Boolean(readClock(c.dataset.clock)?.since);
		const m = spent(c.dataset.clock);
		const text = `${Math.floor(m)}:${String(Math.floor((m % 1) * 60)).padStart(2, "0")}`;
		const time = c.querySelector(".time");
		if (time.textContent !== text) time.textContent = text;
		c.querySelector("button").textContent = on ? say("Stop the clock") : m > 0 ? say("Go on") : say("Start the clock");
	}
}
setInterval(clocks, 1000);

document.addEventListener("click", (event) => {
	const button = event.target.closest(".clock button");
	if (!button) return;
	const test = button.closest(".clock").dataset.clock;
	const c = readClock(test) ?? { sum: 0, since: 0 };
	if (c.since) { c.sum += Date.now() - c.since; c.since = 0; } else c.since = Date.now();
	try { localStorage.setItem(clockKey(test), JSON.stringify(c)); } catch { /* then it is not timed */ }
	clocks();
});

// ---- after something was written down

const PATIENCE = 4000; // ms for the shop to weigh anew before the plan made before is walked on

document.addEventListener("written", (event) => {
	const { item, form } = event.detail;
	hidePad();
	if (item.what === "aside") {
		const t = byID("second");
		if (t) {
			deal(t.content.cloneNode(true));
		}
		location.hash = "#next";
		return;
	}
	if (!["entry", "note", "file"].includes(item.what)) return;
	said(item);
	if (item.what === "entry" && !item.send.form.frame) {
		if (line.state === "offline" || !navigator.onLine) walk(item);
		else setTimeout(() => { if (document.querySelector(`[data-item="${item.id}"].waiting`)) walk(item); }, PATIENCE);
	}
	location.hash = form.dataset.test ? "#next" : "#log";
	showScreen();
});

// deal puts something else on the card of the next test.
let before = null;
function deal(...nodes) {
	const card = document.querySelector("[data-part='bay-next']");
	before = [...card.childNodes];
	card.replaceChildren(...nodes);
}

// The tablet could not keep it: all is as it was.
document.addEventListener("unwritten", () => {
	byID("said")?.remove();
	if (before) document.querySelector("[data-part='bay-next']").replaceChildren(...before);
	before = null;
});

document.addEventListener("kept", (event) => {
	before = null;
	const { item, form } = event.detail;
	// What the module kept in its freeze frame is no test done: the clock goes on.
	const test = item.what === "entry" && !item.send.form.frame && form.dataset.test;
	if (!test) return;
	const minutes = Math.round(spent(test) * 10) / 10;
	localStorage.removeItem(clockKey(test));
	if (minutes < 0.2) return;
	const at = String(item.send.form.where?.[0] ?? "").split("-").map(Number);
	add({ job, what: "minutes", key: test, words: say("%s min on %s", figure(minutes, minutes % 1 ? 1 : 0), document.querySelector(`#t-${test} h2`).textContent),
		send: { minutes, test, bank: at[0] || 0, position: at[1] || 0 } }).catch(() => {});
});

// said tells what was written down, at the top of the next screen.
function said(item) {
	let box = byID("said");
	if (!box) {
		box = document.createElement("p");
		box.id = "said";
		box.className = "told";
		box.setAttribute("role", "status");
		document.querySelector(".screens").prepend(box);
	}
	box.textContent = say("Written down. %s", item.words);
	clearTimeout(box.timer);
	box.timer = setTimeout(() => box.remove(), 8000);
}

// walk goes down the plan without the engine: the branch of the outcome, if the entry
// names one, or all branches to choose from.
function walk(item) {
	const plan = document.querySelector("[data-part='bay-plan'] .plan");
	if (!plan) return;
	const values = Object.values(item.send.form).flat();
	const named = [...plan.children].map((li) => li.firstElementChild).filter((e) => values.includes(e.dataset.outcome));
	const branch = named.length > 1 ? named.find((e) => values.includes(e.dataset.bank)) : named[0];
	const head = document.createElement("p");
	head.className = "said";
	const copy = (branch ?? plan).cloneNode(true);
	head.textContent = branch ? say("No answer from the shop. By the plan made before:")
		: say("No answer from the shop, so nothing is weighed anew. By the plan made before, if it showed:");
	if (copy.tagName === "DETAILS") copy.open = true;
	const list = copy.matches("ul") ? copy : Object.assign(document.createElement("div"), { className: "plan" });
	if (list !== copy) list.append(copy);
	deal(head, list);
}

document.addEventListener("fresh", () => { clocks(); });
showScreen();
