// The page's language for what scripts say. The English is the key; %s stands for what
// is filled in, in order, or by number as %[2]s.

const words = JSON.parse(document.getElementById("words")?.textContent ?? "{}");

export function say(english, ...args) {
	let n = 0;
	return (words[english] ?? english).replace(/%(?:\[(\d+)\])?s/g, (_, at) => args[at ? at - 1 : n++]);
}
