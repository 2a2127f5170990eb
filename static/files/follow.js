// Open pages follow what others do: the shop says which job changed, the page fetches
// itself and takes over the parts that differ. What is being typed stays.

import { person, send, line } from "./outbox.js";
import { say } from "./words.js";

const regions = "[data-part], .stages, .turn, #could > .body, #next > .body, #verdict > .body, #hand > .body, #acts > .body, #car > .body, .moves";
const job = document.documentElement.dataset.job;

// busyWith says that a part must not be touched: somebody types in it.
function busyWith(part) {
	const at = document.activeElement;
	if (at && part.contains(at) && at.matches("input, textarea, select")) return true;
	for (const box of part.querySelectorAll("input, textarea")) {
		if (box.type === "hidden") continue;
		if (box.matches("[type=radio], [type=checkbox]") ? box.checked !== box.defaultChecked : box.value !== box.defaultValue) return true;
	}
	return false;
}

// swap puts the new part in place and leaves open what was open.
// Ids made for forms differ from one drawing to the next and change nothing.
const bare = (part) => part.innerHTML.replace(/value="[0-9a-f]{8}-[0-9a-f-]{27}"/g, "");
function swap(old, fresh) {
	if (bare(old) === bare(fresh) || busyWith(old)) return;
	const open = new Set([...old.querySelectorAll("details[open] > summary")].map((s) => s.textContent));
	const focus = old.contains(document.activeElement) ? document.activeElement.textContent : null;
	for (const s of fresh.querySelectorAll("details > summary")) if (open.has(s.textContent)) s.parentElement.open = true;
	// What waits on this tablet stays in sight while the outbox is read again.
	for (const li of old.querySelectorAll("[data-item]")) {
		if (!fresh.querySelector("#e-" + CSS.escape(li.dataset.item))) fresh.querySelector("[data-log]")?.append(li);
	}
	old.replaceChildren(...fresh.childNodes);
	if (focus !== null) [...old.querySelectorAll("a, button, summary")].find((e) => e.textContent === focus)?.focus({ preventScroll: true });
}

const lines = () => new Map([...document.querySelectorAll(".log > li[id^='e-']")].map((li) => [li.id, li.classList.contains("gone")]));

let fetching = null, once = false;

// refresh brings the page up to date.
export function refresh() {
	if (fetching) { once = true; return fetching; }
	fetching = (async () => {
		const r = await fetch(location.pathname + location.search, { headers: { Accept: "text/html" }, signal: AbortSignal.timeout(20000) });
		if (!r.ok || r.redirected) return;
		const page = new DOMParser().parseFromString(await r.text(), "text/html");
		if (page.documentElement.dataset.person !== document.documentElement.dataset.person) return;
		const before = lines();
		const fresh = [...page.querySelectorAll(regions)];
		const key = (e) => e.dataset.part ?? (e.closest("section[id]")?.id ?? "") + "." + e.className;
		const found = new Map(fresh.map((e) => [key(e), e]));
		for (const old of document.querySelectorAll(regions)) {
			const next = found.get(key(old));
			if (next && old.isConnected && !old.parentElement.closest("[data-part]")) swap(old, next);
		}
		document.dispatchEvent(new CustomEvent("fresh"));
		announce(before);
	})().catch(() => {}).finally(() => {
		fetching = null;
		if (once) { once = false; refresh(); }
	});
	return fetching;
}

// announce says what others wrote since this page last looked.
function announce(before) {
	const me = document.querySelector(".who a[href='/me']")?.textContent.trim();
	const news = [];
	for (const [id, gone] of lines()) {
		if (before.has(id) && before.get(id) === gone) continue;
		const li = document.getElementById(id);
		if (!before.has(id) && li.dataset.by === me) continue;
		li.classList.add("news");
		const what = li.querySelector(".what").textContent.replace(/\s+/g, " ").trim();
		news.push(gone ? say("Withdrawn: %s", what) : li.dataset.by + ": " + what);
	}
	const box = document.getElementById("news");
	if (box && news.length) {
		box.hidden = false;
		box.querySelector("p").textContent = news.slice(-3).join(" · ");
	}
}

// away says that the shop is out of reach, or not any more. A stream that ends and is
// taken up again at once is no news.
let missing = 0;
function away(is, after) {
	clearTimeout(missing);
	missing = setTimeout(() => {
		if (line.state !== (is ? "" : "offline")) return;
		line.state = is ? "offline" : "";
		document.dispatchEvent(new CustomEvent("outbox"));
	}, after);
}

let source, quiet;
function follow() {
	source?.close();
	source = new EventSource(job ? `/jobs/${job}/news` : "/news");
	let first = true;
	source.addEventListener("hello", (e) => {
		line.tries = 0;
		away(false, 0);
		send();
		if (e.data !== document.documentElement.dataset.version) document.dispatchEvent(new CustomEvent("newer"));
		if (!first) refresh(); // something may have happened in between
		first = false;
	});
	source.addEventListener("changed", () => { clearTimeout(quiet); quiet = setTimeout(refresh, 120); });
	// A stream that was refused for good is not taken up again by the browser.
	source.addEventListener("error", () => {
		if (source.readyState === EventSource.CLOSED) setTimeout(follow, 5000);
		else away(true, first ? 0 : 3000);
	});
}

const followed = document.querySelector("[data-part], .log, .moves, #next");
if (person && followed) {
	document.addEventListener("arrived", () => refresh());
	if ("EventSource" in window) {
		follow();
		addEventListener("online", follow);
		addEventListener("pagehide", () => source.close());
		addEventListener("pageshow", (e) => { if (e.persisted) { follow(); refresh(); } });
	} else {
		setInterval(() => { if (!document.hidden) refresh(); }, 15000);
	}
}
