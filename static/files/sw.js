// The service worker. VERSION and FILES stand above, put there by the server.
//
// Files carry a hash in their name and never change: they are kept, those of the
// version before too, since pages kept from then ask for them. Pages come from the
// network when there is one; open jobs are kept for when there is none. Kept pages
// belong to one person: they go when that person logs out or another logs in.

const STATIC = "files-" + VERSION;
const PAGES = "pages";
const WAIT = 6000; // ms for the network before a kept page is shown instead
const MOST = 60; // jobs kept
const WORDS = "words"; // in the language of the last page

self.addEventListener("install", (event) => {
	event.waitUntil((async () => {
		const cache = await caches.open(STATIC);
		await cache.addAll(FILES);
		await self.skipWaiting();
	})());
});

self.addEventListener("activate", (event) => {
	event.waitUntil((async () => {
		const old = (await caches.keys()).filter((k) => k.startsWith("files-") && k !== STATIC);
		for (const k of old.slice(0, -1)) await caches.delete(k); // keys come in order of making
		await self.clients.claim();
	})());
});

self.addEventListener("fetch", (event) => {
	const url = new URL(event.request.url);
	if (event.request.method !== "GET" || url.origin !== location.origin) return;
	if (url.pathname.startsWith("/static/")) event.respondWith(file(event.request));
	else if (/^\/photos\/[^/]+\/(thumb|full)$/.test(url.pathname)) event.respondWith(picture(event.request));
	else if (event.request.mode === "navigate" || keeps(url)) event.respondWith(page(event.request, url));
});

// keeps says which pages are kept.
const keeps = (url) => url.pathname === "/" || url.pathname === "/tablet" || /^\/jobs\/\d+(\/bay|\/photos|\/sensor\/[0-9-]+)?$/.test(url.pathname);

async function file(request) {
	return (await caches.match(request)) ?? fetch(request);
}

async function picture(request) {
	const cache = await caches.open(PAGES);
	const kept = await cache.match(request);
	if (kept) return kept;
	const since = forgotten;
	const r = await fetch(request);
	if (r.ok && request.url.endsWith("/thumb")) await add(request, r.clone(), since);
	return r;
}

// put keeps an answer; a full disk must not cost the answer itself.
async function put(cache, key, r) {
	try { await cache.put(key, r); } catch { /* kept next time */ }
}

// Kept pages change one change after another, and what was asked for before someone
// logged out is not kept any more: a late answer must not bring back what was forgotten.
let forgotten = 0;
let last = Promise.resolve();
function inTurn(work) {
	const done = last.then(work);
	last = done.catch(() => {});
	return done;
}

function forget() {
	forgotten++;
	return inTurn(() => caches.delete(PAGES));
}

// add keeps an answer that was asked for when so many people had been forgotten, as the
// named person's. It reads the answer before its turn, so that a slow one holds up no other.
async function add(key, r, since, person) {
	const body = await r.blob();
	return inTurn(async () => {
		if (since !== forgotten) return;
		if (person) await claim(person);
		await put(await caches.open(PAGES), key, new Response(body, { headers: r.headers }));
	});
}

// owner is whose pages are kept.
async function owner() {
	const r = await (await caches.open(PAGES)).match("/owner");
	return r ? r.text() : "";
}

async function claim(person) {
	if ((await owner()) === person) return;
	await caches.delete(PAGES);
	await put(await caches.open(PAGES), "/owner", new Response(person));
}

// keep keeps an answer if it is a page to keep, and returns whose it is. Nobody's log-in
// page says that the shop does not know who this is: nobody's pages are shown any more.
async function keep(r, address, since) {
	const person = r.headers.get("Crosscount-Person");
	const url = new URL(r.url);
	if (!person && url.pathname === "/login") await forget();
	if (person && r.ok && !r.redirected && keeps(url)) await add(bare(address), r, since, person);
	return person;
}

// bare is a page's address without what only opens a part of it.
function bare(address) {
	const u = new URL(address, location.origin);
	return u.origin + u.pathname;
}

async function page(request, url) {
	const since = forgotten;
	const network = fetch(request.mode === "navigate" ? new Request(request.url, { headers: request.headers, credentials: "same-origin", redirect: "manual" }) : request)
		.then(async (r) => {
			if (r.type === "opaqueredirect") return r;
			await keep(r.clone(), request.url, since);
			return r;
		});
	const kept = keeps(url) ? await (await caches.open(PAGES)).match(bare(url.href)) : undefined;
	try {
		if (!kept) return await network;
		const late = new Promise((resolve) => setTimeout(resolve, WAIT));
		const r = await Promise.race([network, late]);
		if (r && r.status < 500) return r;
		network.catch(() => {});
		return kept;
	} catch {
		return kept ?? (await gone(url));
	}
}

// told keeps the words of the last page, for the one page that is drawn here.
async function told({ words, lang }) {
	await put(await caches.open(WORDS), "/words", new Response(JSON.stringify({ words, lang })));
}

async function language() {
	const kept = await (await caches.open(WORDS)).match("/words").catch(() => undefined);
	const { words, lang } = kept ? await kept.json() : { words: {}, lang: "en" };
	return { lang, say: (english) => words[english] ?? english };
}

// gone is the page for what is not kept.
async function gone(url) {
	const { lang, say } = await language();
	const css = FILES.find((f) => f.startsWith("/static/app."));
	return new Response(`<!DOCTYPE html><html lang="${lang}"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>${say("No network")} · Crosscount</title><link rel="stylesheet" href="${css}"></head><body><main id="main"><div class="head"><div class="side"></div><div class="body">
<h1>${say("No network")}</h1><p class="said">${say("This page is not kept on this tablet, and the shop cannot be reached. Nothing that you wrote down is lost.")}</p>
<p><a class="button" href="${url.pathname.replace(/"/g, "")}">${say("Try again")}</a></p><p><a href="/">${say("Open jobs kept here")}</a></p></div></div></main></body></html>`,
	{ status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
}

self.addEventListener("message", (event) => {
	const m = event.data ?? {};
	if (m.forget) event.waitUntil(forget());
	if (m.words) event.waitUntil(told(m));
	if (m.keep) event.waitUntil(keepJobs(m));
});

// keepJobs fetches the pages of open jobs in quiet, so that they work without a network.
// Whose they are the shop says: the message may come from a page that is being left by
// someone who has logged out meanwhile.
async function keepJobs({ keep: jobs, all, person }) {
	const since = forgotten;
	const cache = await caches.open(PAGES);
	const mine = (await owner()) === String(person);
	if (all) {
		for (const request of await cache.keys()) {
			const id = /\/jobs\/(\d+)/.exec(new URL(request.url).pathname)?.[1];
			if (id && !jobs.includes(id)) await cache.delete(request);
		}
	}
	const paths = jobs.slice(0, MOST).flatMap((j) => [`/jobs/${j}/bay`, `/jobs/${j}`]).concat("/tablet");
	if (!all && jobs.length) paths.push(`/jobs/${jobs[0]}/photos`, ...(await sensors(cache, jobs[0])));
	for (const p of paths) {
		const have = mine && (await cache.match(location.origin + p));
		if (have && Date.now() - Date.parse(have.headers.get("Date")) < 120000) continue;
		try {
			const r = await fetch(p, { headers: { Accept: "text/html" }, credentials: "same-origin" });
			if ((await keep(r, location.origin + p, since)) !== String(person)) return;
		} catch { return; }
	}
}

// sensors are the pages of a job's sensors, as its bay page names them.
async function sensors(cache, job) {
	const bay = await cache.match(`${location.origin}/jobs/${job}/bay`);
	return bay ? [...new Set((await bay.text()).match(new RegExp(`/jobs/${job}/sensor/[0-9-]+`, "g")) ?? [])] : [];
}
