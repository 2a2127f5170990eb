// Adds a cursor with a readout and zoom to recordings drawn by the server. The
// drawings are complete without it, and print as they were sent.

import { figure, say } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const PLACES = 1000; // of the cursor

for (const svg of document.querySelectorAll('svg[data-picture="plot"]')) enliven(svg);

function enliven(svg) {
	const data = (el, name) => Number(el.dataset[name]);
	const whole = [data(svg, "t0"), data(svg, "t1")];
	const left = data(svg, "left"), right = data(svg, "right");
	const panels = [...svg.querySelectorAll(".pic-panel")].map((g) => ({
		top: data(g, "top"), height: data(g, "height"), hi: data(g, "hi"), lo: data(g, "lo"), unit: g.dataset.unit,
		traces: [...g.querySelectorAll(".pic-trace")].map((path) => ({
			path, label: path.dataset.label, x0: data(path, "x0"), dx: data(path, "dx"), ...vertices(path.getAttribute("d")),
		})),
	}));
	if (!(whole[1] > whole[0]) || !panels.some((p) => p.traces.length)) return;
	const bottom = Math.max(...panels.map((p) => p.top + p.height));
	let shown = whole;
	let at = (whole[0] + whole[1]) / 2;

	const cursor = svg.appendChild(document.createElementNS(SVG, "path"));
	cursor.setAttribute("class", "pic-cursor noprint");
	cursor.setAttribute("stroke", "var(--ink,currentColor)");
	cursor.setAttribute("visibility", "hidden");

	// The tools: a slider moves the cursor, so keys, touch and readers all work.
	const tools = document.createElement("div");
	tools.className = "pic-tools noprint";
	const slider = document.createElement("input");
	slider.type = "range";
	slider.max = PLACES;
	slider.step = 1;
	slider.value = PLACES / 2;
	slider.setAttribute("aria-label", say("Cursor on the recording"));
	const readout = document.createElement("output");
	const button = (text, label, act) => {
		const b = document.createElement("button");
		b.type = "button";
		b.className = "button second";
		b.textContent = text;
		b.setAttribute("aria-label", label);
		b.addEventListener("click", act);
		return b;
	};
	const closer = button(say("Closer"), say("Closer at the cursor"), () => zoom(0.5));
	const wider = button(say("Wider"), say("Wider around the cursor"), () => zoom(2));
	const all = button(say("Whole"), say("Whole recording"), () => show(whole));
	tools.append(slider, readout, closer, wider, all);
	svg.after(tools);

	slider.addEventListener("input", () => move(shown[0] + (slider.value / PLACES) * (shown[1] - shown[0])));
	slider.addEventListener("keydown", (event) => {
		const act = { "+": () => zoom(0.5), "=": () => zoom(0.5), "-": () => zoom(2), Escape: () => show(whole) }[event.key];
		if (act) {
			event.preventDefault();
			act();
		}
	});
	const point = (event) => {
		const box = svg.getBoundingClientRect();
		const x = ((event.clientX - box.left) / box.width) * svg.viewBox.baseVal.width;
		if (x >= left && x <= right) move(shown[0] + ((x - left) / (right - left)) * (shown[1] - shown[0]));
	};
	svg.addEventListener("pointerdown", point);
	svg.addEventListener("pointermove", (event) => {
		if (event.pointerType === "mouse" || event.buttons) point(event);
	});

	addEventListener("beforeprint", () => {
		const back = shown;
		show(whole);
		addEventListener("afterprint", () => show(back), { once: true });
	});

	function zoom(by) {
		const span = Math.min((shown[1] - shown[0]) * by, whole[1] - whole[0]);
		if (span < (whole[1] - whole[0]) / 4096) return;
		const share = (at - shown[0]) / (shown[1] - shown[0]);
		const from = Math.min(Math.max(at - share * span, whole[0]), whole[1] - span);
		show([from, from + span]);
	}

	// show draws the time from a to b.
	function show([a, b]) {
		shown = [a, b];
		const across = (right - left) / (b - a);
		for (const panel of panels) {
			for (const t of panel.traces) {
				t.path.setAttribute("transform",
					`translate(${left + (t.x0 - a) * across} ${panel.top})scale(${t.dx * across} ${panel.height / 1000})`);
			}
		}
		for (const mark of svg.querySelectorAll(".pic-mark")) {
			const t = data(mark, "at");
			mark.setAttribute("transform", `translate(${left + (t - a) * across} 0)`);
			mark.setAttribute("visibility", t >= a && t <= b ? "visible" : "hidden");
		}
		axis(a, b, across);
		wider.disabled = all.disabled = b - a >= (whole[1] - whole[0]) * 0.999999;
		move(Math.min(Math.max(at, a), b), false);
	}

	function axis(a, b, across) {
		const [unit, scale] = timeUnit(b - a);
		const group = svg.querySelector(".pic-x");
		group.replaceChildren();
		for (const [v, text] of ticks(a * scale, b * scale)) {
			const x = left + (v / scale - a) * across;
			for (const p of panels) {
				const line = group.appendChild(document.createElementNS(SVG, "path"));
				line.setAttribute("d", `M${x} ${p.top + p.height}v5`);
				line.setAttribute("stroke", "var(--faded,currentColor)");
			}
			const label = group.appendChild(document.createElementNS(SVG, "text"));
			label.setAttribute("x", x);
			label.setAttribute("y", bottom + 20);
			label.setAttribute("text-anchor", "middle");
			label.setAttribute("fill", "var(--faded,currentColor)");
			label.textContent = text;
		}
		svg.querySelector(".pic-xlabel").textContent = say("time in %s", unit);
	}

	// move puts the cursor at time t and reads the traces there.
	function move(t, visible = true) {
		at = t;
		const [a, b] = shown;
		const x = left + ((t - a) / (b - a)) * (right - left);
		cursor.setAttribute("d", panels.map((p) => `M${x} ${p.top}v${p.height}`).join(""));
		if (visible) cursor.setAttribute("visibility", "visible");
		slider.value = Math.round(((t - a) / (b - a)) * PLACES);
		const [unit, scale] = timeUnit(whole[1] - whole[0]);
		const parts = [`${figure(t * scale, decimals((b - a) * scale))} ${unit}`];
		for (const p of panels) {
			for (const trace of p.traces) {
				const range = read(trace, t);
				const value = (y) => figure(p.hi - (y / 1000) * (p.hi - p.lo), decimals(p.hi - p.lo)).replace("-", "\u2212");
				const reading = !range ? say("no reading")
					: value(range[0]) === value(range[1]) ? `${value(range[0])} ${p.unit}`
						: say("%s to %s %s", value(range[1]), value(range[0]), p.unit);
				parts.push(`${trace.label}: ${reading}`);
			}
		}
		readout.textContent = parts.join(" · ");
		slider.setAttribute("aria-valuetext", readout.textContent);
	}

	axis(...whole, (right - left) / (whole[1] - whole[0]));
	wider.disabled = all.disabled = true;
	move(at, false);
}

// vertices reads a path of M, l, m and v into its corners. Fresh corners have no
// line leading to them.
function vertices(d) {
	const xs = [], ys = [], fresh = [];
	let x = 0, y = 0;
	for (const [, letter, a, b] of d.matchAll(/([Mlmv])\s*(-?\d+)(?:[ ]?(-?\d+))?/g)) {
		if (letter === "v") y += Number(a);
		else if (letter === "M") [x, y] = [Number(a), Number(b)];
		else [x, y] = [x + Number(a), y + Number(b)];
		xs.push(x);
		ys.push(y);
		fresh.push(letter === "M" || letter === "m");
	}
	return { xs, ys, fresh };
}

// read answers the lowest and highest y of a trace at time t, or nothing in a gap.
function read({ xs, ys, fresh, x0, dx }, t) {
	const x = dx > 0 ? (t - x0) / dx : 0;
	let low = 0, high = xs.length;
	while (low < high) {
		const mid = (low + high) >> 1;
		if (xs[mid] < x) low = mid + 1;
		else high = mid;
	}
	// low is the first corner not ahead of x; the one before may be nearer
	if (low === xs.length) {
		if (x - xs[low - 1] > 1) return undefined;
		low--;
	} else if (low === 0) {
		if (xs[0] - x > 1) return undefined;
	} else if (fresh[low] && xs[low] - x > 1 && x - xs[low - 1] > 1) {
		return undefined;
	} else if (x - xs[low - 1] < xs[low] - x) {
		low--;
	}
	let [least, most] = [ys[low], ys[low]];
	for (const step of [-1, 1]) {
		for (let i = low + step; i >= 0 && i < xs.length && xs[i] === xs[low]; i += step) {
			least = Math.min(least, ys[i]);
			most = Math.max(most, ys[i]);
		}
	}
	return [least, most];
}

function timeUnit(span) {
	if (span < 0.002) return ["µs", 1e6];
	if (span < 1) return ["ms", 1e3];
	if (span > 1200) return ["min", 1 / 60];
	return ["s", 1];
}

// ticks answers round numbers from a to b with their labels: multiples of 1, 2 or 5
// times a power of ten.
function ticks(a, b) {
	const rough = (b - a) / 8;
	const power = 10 ** Math.floor(Math.log10(rough));
	const step = [1, 2, 5, 10].find((m) => m * power >= rough * (1 - 1e-9)) * power;
	const digits = Math.min(Math.max(-Math.floor(Math.log10(step) + 1e-9), 0), 9);
	const out = [];
	for (let k = Math.ceil(a / step - 1e-9); k * step <= b + 1e-9 * step && out.length < 20; k++) {
		out.push([k * step, (k * step).toFixed(digits).replace("-", "\u2212")]);
	}
	return out;
}

// decimals is how many a readout over this span needs.
function decimals(span) {
	return Math.min(Math.max(3 - Math.floor(Math.log10(span)), 0), 6);
}
