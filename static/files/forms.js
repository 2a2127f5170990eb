// Forms that write evidence go through the outbox: a tap is on the page at once, with
// or without a network. Without this file they are plain forms.

import { add, made, all, remove, again, person } from "./outbox.js";
import { clock, say } from "./words.js";

const words = (s) => s.replace(/\s+/g, " ").trim();

// sentence says what a filled form will write, from what the person sees in it.
function sentence(form) {
	const title = words(form.querySelector(":scope > h3")?.textContent ?? form.dataset.title ?? "");
	const parts = [];
	let where = "";
	for (const box of form.elements) {
		if (!box.name || box.type === "hidden" || box.tagName === "BUTTON" || box.tagName === "FIELDSET") continue;
		const label = words((box.closest("label") ?? form.querySelector(`label[for="${CSS.escape(box.id)}"]`))?.textContent ?? "");
		if (box.type === "radio" || box.type === "checkbox") {
			if (!box.checked || box.name === "source") continue;
			if (box.name === "where") where = box.value && label;
			else parts.push(label);
		} else if (box.tagName === "SELECT") {
			parts.push(words(box.selectedOptions[0]?.textContent ?? ""));
		} else if (box.value.trim()) {
			const unit = words(box.parentElement.querySelector(".unit")?.textContent ?? "");
			const state = words(box.closest(".triple")?.querySelector(".state")?.textContent ?? "");
			parts.push(words(`${state ? state + " " : ""}${box.tagName === "TEXTAREA" ? "" : label} ${box.value.trim()} ${unit}`));
		}
	}
	return { title, where, text: words(`${title}: ${parts.join(", ")}`) };
}

const jobOf = (form) => Number(/\/jobs\/(\d+)\//.exec(form.getAttribute("action"))?.[1] ?? 0);

// itemOf turns a form into an item for the outbox; null for a form that goes its own way.
function itemOf(form) {
	const action = form.getAttribute("action") ?? "";
	const data = new FormData(form);
	const job = jobOf(form);
	if (/\/evidence$/.test(action)) {
		const fields = {};
		for (const [name, value] of data) if (name !== "id") (fields[name] ??= []).push(value);
		const key = fields.kind[0] + (fields.test ? "." + fields.test[0] : "");
		const s = sentence(form);
		return { job, what: key === "note" ? "note" : "entry", key, words: s.text, where: s.where, send: { form: fields } };
	}
	const take = /\/evidence\/([^/]+)\/withdraw$/.exec(action);
	if (take) {
		const why = [...data].find(([name]) => name.startsWith("reason"))?.[1].trim() ?? "";
		const line = document.getElementById("e-" + take[1]);
		return { job, what: "withdraw", key: take[1], words: say("Withdrawn: %s (%s)", words(line?.querySelector(".what")?.textContent ?? say("an entry")), why),
			send: { withdraws: take[1], why } };
	}
	if (/\/files$/.test(action)) {
		const chosen = data.get("file"), text = data.get("text").trim() ? data.get("text") : "";
		const blob = chosen?.size ? chosen : text && new Blob([text], { type: "text/plain" });
		if (!blob || blob.size > form.elements.file.dataset.most) return null; // the shop says what is missing
		const name = chosen?.size ? chosen.name : "pasted.txt";
		return { job, what: "file", words: say("Recording: %s", name), file: { url: action, fields: { as: data.get("as") ?? "" }, blob, name } };
	}
	if (/\/set-aside$/.test(action)) {
		const [bank, position] = String(data.get("at") || "0-0").split("-").map(Number);
		const why = words(data.get("other") || data.get("why") || "");
		return { job, what: "aside", key: data.get("test"), words: say("Cannot be done here: %s (%s)", form.dataset.title, why),
			send: { set_aside: true, test: data.get("test"), bank: bank || 0, position: position || 0, why } };
	}
	return null;
}

// full says aloud that the tablet could not keep an entry; the form still has it.
function full(form, error) {
	const box = document.createElement("div");
	box.className = "refused";
	box.setAttribute("role", "alert");
	box.textContent = error?.name === "QuotaExceededError"
		? say("This tablet's storage is full, so the entry could not be kept here. It is still in the form. Free some space (photos, other apps), or send it now while there is a network.")
		: say("This browser would not keep the entry, so it is sent directly. It is still in the form until the shop has it.");
	const direct = document.createElement("button");
	direct.type = "button";
	direct.className = "button second";
	direct.textContent = say("Send it directly");
	direct.addEventListener("click", () => form.submit());
	const acts = document.createElement("div");
	acts.className = "acts";
	acts.append(direct);
	box.append(acts);
	form.querySelector(":scope > .refused")?.remove();
	form.prepend(box);
	box.scrollIntoView({ block: "center" });
}

// Drawn, but not on the tablet's disk yet.
const writing = new Set();

// chosen is a list of a box's files that outlives the box's own, which a reset empties.
function chosen(box) {
	if (!box.files) return null;
	const list = new DataTransfer();
	for (const file of box.files) list.items.add(file);
	return list.files;
}

// emptied clears a form for the next entry and returns how to put back what was typed.
function emptied(form) {
	const typed = [...form.elements].map((box) => [box, box.value, box.checked, chosen(box)]);
	const mends = form.dataset.mends;
	delete form.dataset.mends;
	form.reset();
	form.hidden = form.id === "form"; // the whole-job page opens one form at a time
	return () => {
		for (const [box, value, checked, files] of typed) {
			if (box.type === "file") box.files = files;
			else if (box.type === "radio" || box.type === "checkbox") box.checked = checked;
			else if (box.type !== "hidden" && "value" in box && box.tagName !== "BUTTON") box.value = value;
		}
		if (mends) form.dataset.mends = mends;
		form.hidden = false;
	};
}

// What was tapped is on the page, and the form free for the next, before the tablet's
// disk has answered. If the disk refuses, all is put back.
document.addEventListener("submit", async (event) => {
	const form = event.target;
	if (!person || event.defaultPrevented || form.dataset.direct) return;
	const item = itemOf(form);
	if (!item) return;
	event.preventDefault();
	event.stopPropagation();
	const kept = made(item), here = location.hash, mends = form.dataset.mends;
	const back = emptied(form);
	writing.add(kept.id);
	show(kept);
	document.dispatchEvent(new CustomEvent("written", { detail: { item: kept, form } }));
	performance.measure("tap to page", { start: event.timeStamp, end: performance.now() });
	try {
		await add(kept);
	} catch (error) {
		for (const li of document.querySelectorAll(`[data-item="${kept.id}"]`)) li.remove();
		if (kept.what === "withdraw") document.getElementById("e-" + kept.key)?.classList.remove("gone");
		document.dispatchEvent(new CustomEvent("unwritten"));
		if (location.hash !== here) location.hash = here;
		back();
		full(form, error);
		return;
	} finally {
		writing.delete(kept.id);
	}
	document.dispatchEvent(new CustomEvent("kept", { detail: { item: kept, form } }));
	form.querySelector(":scope > .refused")?.remove();
	for (const m of form.querySelectorAll(".mend")) m.remove();
	for (const w of form.querySelectorAll(".wrong")) w.classList.remove("wrong");
	if (mends) remove(Number(mends));
	form.closest("details.take, details.cannot")?.removeAttribute("open");
	if (form.id === "form") {
		history.replaceState(null, "", location.pathname);
		form.remove();
		document.querySelector(`[data-item="${kept.id}"]`)?.scrollIntoView({ block: "center" });
	}
	if (item.what === "file") look = { id: kept.id, at: location.href, until: Date.now() + 120000 };
}, true);

// look is the recording that was sent from this page just now: how it is read is what the
// person wants to see next, unless they have gone on to something else.
let look = null;
function lookAt(item) {
	if (item.id !== look?.id || item.state === "waiting") return;
	const stayed = location.href === look.at && Date.now() < look.until && !document.activeElement?.matches("input, textarea, select");
	look = null;
	if (item.state === "arrived" && stayed) location.assign(item.href);
}

const states = { waiting: say("waits for the network"), arrived: say("arrived"), refused: say("came back") };

// show puts an item on the page: at the end of the log, or at the line that it withdraws.
export function show(item) {
	const there = [...document.querySelectorAll(`[data-item="${item.id}"]`)];
	// What stands there already stays as it is: a finger may be on its way to it.
	if (there.length && there.every((li) => li.classList.contains(item.state)) && item.state !== "arrived") return;
	for (const old of there) old.remove();
	const logs = document.querySelectorAll("[data-log]");
	for (const log of logs) {
		if (Number(log.dataset.log) !== item.job) continue;
		// The shop's own line may be on the page before its answer has come.
		if (item.state !== "refused" && document.getElementById("e-" + item.id)) continue;
		if (item.state === "arrived" && !["entry", "file"].includes(item.what)) continue;
		const li = document.createElement("li");
		li.dataset.item = item.id;
		li.className = "own " + item.state;
		const what = document.createElement("div");
		what.className = "what";
		what.textContent = (item.where ? item.where + ". " : "") + item.words;
		const when = document.createElement("div");
		when.className = "when";
		when.textContent = `${clock(item.at)}, ${states[item.state]}`;
		if (item.href) {
			const look = document.createElement("a");
			look.href = item.href;
			look.textContent = say("See how it is read");
			when.append(" · ", look);
		}
		li.append(what, when);
		if (item.state === "refused") li.append(cameBack(item));
		log.append(li);
		log.parentElement.querySelector(".nothing")?.remove();
	}
	if (item.what === "withdraw" && item.state !== "refused") document.getElementById("e-" + item.key)?.classList.add("gone");
}

// cameBack shows why an item was refused and what can be done.
export function cameBack(item) {
	const box = document.createElement("div");
	box.className = "mend";
	box.setAttribute("role", "alert");
	for (const p of item.problems ?? []) {
		const b = document.createElement("b");
		b.textContent = (p.label ? p.label + ": " : "") + p.reason;
		box.append(b, p.mend ?? "");
	}
	const acts = document.createElement("div");
	acts.className = "acts";
	const button = (text, act) => {
		const e = document.createElement("button");
		e.type = "button";
		e.className = "button second";
		e.textContent = text;
		e.addEventListener("click", act);
		acts.append(e);
	};
	if (item.what === "entry" || item.what === "file") {
		const a = document.createElement("a");
		a.className = "button";
		a.href = `/jobs/${item.job}/bay?mend=${item.seq}#f-${item.what === "file" ? "recording" : item.key}`;
		a.textContent = say("Mend it");
		acts.append(a);
	}
	button(say("Send it again"), () => again(item));
	button(say("Throw it away"), () => { if (confirm(say("Throw this away for good?") + "\n\n" + item.words)) remove(item.seq); });
	box.append(acts);
	return box;
}

// refill puts a file or a pasted text back into its form.
async function refill(form, file) {
	if (file.name === "pasted.txt") {
		form.elements.text.value = await file.blob.text();
		return;
	}
	const list = new DataTransfer();
	list.items.add(new File([file.blob], file.name, { type: file.blob.type }));
	form.elements.file.files = list.files;
}

// fill puts what was typed back into its form, with what is wrong at each field.
export function fill(form, item) {
	if (item.file) refill(form, item.file);
	for (const [name, values] of Object.entries(item.send?.form ?? {})) {
		for (const box of form.querySelectorAll(`[name="${CSS.escape(name)}"]`)) {
			if (box.type === "radio" || box.type === "checkbox") box.checked = values.includes(box.value);
			else if (box.type !== "hidden") box.value = values[0];
		}
	}
	form.dataset.mends = item.seq;
	const head = document.createElement("div");
	head.className = "refused";
	head.setAttribute("role", "alert");
	head.tabIndex = -1;
	const h = document.createElement("h3");
	h.textContent = say("It came back. What you typed is here again.");
	head.append(h);
	for (const p of item.problems ?? []) {
		const line = document.createElement("p");
		line.textContent = `${p.label ? p.label + ": " : ""}${p.reason} ${p.mend ?? ""}`;
		head.append(line);
		const box = p.field && form.querySelector(`[name="${CSS.escape(p.field)}"]`);
		if (box) { box.setAttribute("aria-invalid", "true"); box.closest(".field")?.classList.add("wrong"); }
	}
	form.querySelector(":scope > .refused")?.remove();
	form.prepend(head);
	head.focus();
}

// pending shows everything of this person that the page's jobs wait for.
export async function pending() {
	if (!person) return;
	let items;
	try { items = await all(); } catch { return; }
	const known = new Set(items.map((i) => i.id));
	for (const li of document.querySelectorAll("[data-item]")) if (!known.has(li.dataset.item) && !writing.has(li.dataset.item)) li.remove();
	for (const item of items) if (item.state !== "arrived") show(item);
	for (const item of items) if (item.state === "arrived" && document.querySelector(`[data-item="${item.id}"]`)) show(item);
	for (const item of items) lookAt(item);
}
// soon draws once for many changes in a row.
let drawing = false;
function soon() {
	if (drawing) return;
	drawing = true;
	setTimeout(() => { drawing = false; pending(); }, 60);
}
document.addEventListener("outbox", soon);
document.addEventListener("fresh", pending);
pending();
