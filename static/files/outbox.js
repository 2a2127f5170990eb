// The outbox: what was written down on this tablet and has not arrived yet. It lies in
// IndexedDB, belongs to the person who wrote it, and goes out in order. Everything
// carries an id made here, so that the shop takes it once however often it is sent.

import { say } from "./words.js";

export const person = Number(document.documentElement.dataset.person || 0);

const BATCH = 50; // items of one request
const PATIENCE = 15000; // ms before a request counts as lost
const KEPT = 60; // arrived items that stay to be seen

let opened;
function open() {
	opened ??= new Promise((resolve, reject) => {
		const r = indexedDB.open("crosscount", 1);
		r.onupgradeneeded = () => r.result.createObjectStore("items", { keyPath: "seq", autoIncrement: true });
		r.onsuccess = () => {
			r.result.onversionchange = () => { r.result.close(); opened = undefined; };
			r.result.onclose = () => { opened = undefined; };
			resolve(r.result);
		};
		r.onerror = () => reject(r.error);
		r.onblocked = () => reject(new Error("another tab holds the store"));
	});
	opened.catch(() => { opened = undefined; });
	return opened;
}

// work runs one transaction and ends when it is on the disk.
async function work(mode, act) {
	const db = await open();
	return new Promise((resolve, reject) => {
		const tx = db.transaction("items", mode, { durability: "strict" });
		const r = act(tx.objectStore("items"));
		tx.oncomplete = () => resolve(r?.result);
		tx.onerror = tx.onabort = () => reject(tx.error ?? r?.error ?? new Error("not kept"));
	});
}

export function newID() {
	const b = crypto.getRandomValues(new Uint8Array(16));
	b[6] = (b[6] & 0x0f) | 0x40;
	b[8] = (b[8] & 0x3f) | 0x80;
	const h = [...b].map((x) => x.toString(16).padStart(2, "0")).join("");
	return `${h.slice(0, 8)}-${h.slice(8, 12)}-${h.slice(12, 16)}-${h.slice(16, 20)}-${h.slice(20)}`;
}

// all are this person's items, the oldest first.
export async function all() {
	const items = await work("readonly", (s) => s.getAll());
	return items.filter((i) => i.person === person);
}

// made gives an item its id and its time. `send` is what the shop gets, `words` what the
// person sees; `file` is { url, fields, blob, name } for what goes as a file.
export const made = (item) => ({ id: newID(), person, at: new Date().toISOString(), state: "waiting", ...item });

// add keeps an item and starts sending.
export async function add(item) {
	const kept = item.id ? item : made(item);
	kept.seq = await work("readwrite", (s) => s.add(kept));
	tell();
	send();
	return kept;
}

export async function remove(seq) {
	await work("readwrite", (s) => s.delete(seq));
	tell();
}

// again puts a refused item back into the queue as it is.
export async function again(item) {
	await work("readwrite", (s) => s.put({ ...item, state: "waiting", problems: [] }));
	tell();
	send();
}

// line is how the way to the shop is: "", "offline", "login", "other".
export const line = { state: "", skew: 0, tries: 0, note: "" };

const channel = "BroadcastChannel" in window ? new BroadcastChannel("crosscount-outbox") : null;
channel?.addEventListener("message", () => document.dispatchEvent(new CustomEvent("outbox")));
function tell() {
	document.dispatchEvent(new CustomEvent("outbox"));
	channel?.postMessage("changed");
}

let busy = null, more = false, timer = 0;

// send empties the outbox as far as it goes. Of several tabs one does.
export function send() {
	if (!person) return Promise.resolve();
	if (busy) { more = true; return busy; }
	clearTimeout(timer);
	const go = navigator.locks
		? navigator.locks.request("crosscount-outbox", { ifAvailable: true }, (lock) => (lock ? empty() : later(2000)))
		: empty();
	busy = go.catch((e) => { line.note = String(e); later(); }).finally(() => {
		busy = null;
		if (more) { more = false; send(); }
	});
	return busy;
}

function later(ms) {
	clearTimeout(timer);
	timer = setTimeout(send, ms ?? Math.min(30000, 500 * 2 ** Math.min(line.tries, 6)) * (0.75 + Math.random() / 2));
}

async function empty() {
	for (;;) {
		const waiting = (await all()).filter((i) => i.state === "waiting");
		if (!waiting.length) { line.tries = 0; tell(); return; }
		const files = waiting.findIndex((i) => i.file);
		const batch = files === 0 ? waiting.slice(0, 1) : waiting.slice(0, Math.min(line.single ? 1 : BATCH, files < 0 ? BATCH : files));
		const ok = batch[0].file ? await sendFile(batch[0]) : await sendBatch(batch);
		if (!ok) { tell(); return; }
	}
}

// post returns what the shop answered, or null when the way is blocked.
async function post(url, init) {
	let r;
	try {
		r = await fetch(url, { method: "POST", credentials: "same-origin", redirect: "manual", signal: AbortSignal.timeout(init.patience ?? PATIENCE), ...init,
			headers: { Accept: "application/json", ...init.headers } });
	} catch {
		return blocked("offline");
	}
	let body;
	try {
		body = await r.json();
	} catch {
		return blocked("offline"); // half an answer, or a stranger's
	}
	if (r.status === 401) return blocked("login", 0);
	if (r.status === 409 && !body.results) return blocked("other", 0);
	if (r.status >= 500 || r.status === 429 || r.status === 403) return blocked("offline");
	line.state = "";
	return { status: r.status, body };
}

function blocked(state, again) {
	line.state = state;
	line.tries++;
	if (again !== 0) later();
	return null;
}

async function sendBatch(batch) {
	const answer = await post("/api/entries", {
		headers: { "Content-Type": "application/json" },
		body: JSON.stringify({ person, clock: new Date().toISOString(), items: batch.map((i) => ({ id: i.id, job: i.job, at: i.at, ...i.send })) }),
	});
	if (!answer) return false;
	if (answer.status !== 200) {
		if (batch.length > 1) { line.single = true; return true; } // one of them spoils it: find out which
		await settle(batch, [{ id: batch[0].id, state: "refused", kind: "invalid", problems: [{ reason: answer.body.error?.say ?? say("The shop did not take it.") }] }]);
		return true;
	}
	line.single = false;
	line.skew = Date.now() - Date.parse(answer.body.now);
	await settle(batch, answer.body.results);
	if (answer.body.results.some((r) => r.state === "later")) { blocked("offline"); return false; }
	line.tries = 0;
	return true;
}

async function sendFile(item) {
	const form = new FormData();
	form.set("id", item.id);
	form.set("at", item.at);
	form.set("person", String(person));
	form.set("clock", new Date().toISOString());
	for (const [name, value] of Object.entries(item.file.fields)) form.set(name, value);
	form.set("file", item.file.blob, item.file.name);
	const answer = await post(item.file.url, { body: form, patience: Math.min(1800000, 120000 + item.file.blob.size / 50) });
	if (!answer) return false;
	if (answer.body.results) await settle([item], answer.body.results);
	else await settle([item], [{ id: item.id, state: "refused", kind: "invalid", problems: [{ reason: answer.body.error?.say ?? say("The shop did not take it.") }] }]);
	line.tries = 0;
	return true;
}

async function settle(batch, results) {
	const said = new Map(results.map((r) => [r.id, r]));
	const kept = (await all()).filter((i) => i.state === "arrived");
	await work("readwrite", (s) => {
		for (const item of batch) {
			const r = said.get(item.id);
			if (!r || r.state === "later") continue;
			const done = r.state === "arrived" || r.state === "already";
			const next = { ...item, state: done ? "arrived" : "refused", problems: r.problems ?? [], kind: r.kind, settled: new Date().toISOString() };
			if (r.href) next.href = r.href;
			if (done) delete next.file; // the picture is with the shop now
			s.put(next);
		}
		for (const old of kept.slice(0, Math.max(0, kept.length - KEPT))) s.delete(old.seq);
	});
	tell();
	if (results.some((r) => r.state === "arrived" || r.state === "already")) document.dispatchEvent(new CustomEvent("arrived"));
}

if (person) {
	addEventListener("online", () => { line.tries = 0; send(); });
	addEventListener("offline", () => { line.state = "offline"; tell(); });
	document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
	addEventListener("pageshow", send);
}
