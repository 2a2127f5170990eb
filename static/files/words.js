// The page's language for what scripts say. The English is the key; %s stands for what
// is filled in, in order, or by number as %[2]s.

const page = document.documentElement;
export const words = JSON.parse(document.getElementById("words")?.textContent ?? "{}");

export function say(english, ...args) {
	let n = 0;
	return (words[english] ?? english).replace(/%(?:\[(\d+)\])?s/g, (_, at) => args[at ? at - 1 : n++]);
}

// figure writes a number to so many decimals with the shop's decimal sign.
export const figure = (x, digits) => x.toFixed(digits).replace(".", page.dataset.decimal ?? ".");

const two = (n) => String(n).padStart(2, "0");

// clock is the time of day.
export function clock(at) {
	const t = new Date(at);
	return `${two(t.getHours())}:${two(t.getMinutes())}`;
}

// moment is a day and a time in the shop's order of dates, the time alone for today.
export function moment(at) {
	const t = new Date(at), now = new Date();
	if (t.toDateString() === now.toDateString()) return clock(t);
	const month = say("Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec").split(" ")[t.getMonth()];
	const date = { month: `${month} ${t.getDate()}, ${t.getFullYear()}`, year: `${t.getFullYear()}-${two(t.getMonth() + 1)}-${two(t.getDate())}` };
	return `${date[page.dataset.dates] ?? `${t.getDate()} ${month} ${t.getFullYear()}`}, ${clock(t)}`;
}
