// Names for what is added: a person may change them, two things should not start with the same one.

/** The label, with a number when it is taken. */
export function free_name(label: string, taken: string[]): string {
  const names = new Set(taken.map((name) => name.toLowerCase()));
  if (!names.has(label.toLowerCase())) return label;
  // A copy of "Sink 2" is "Sink 3", not "Sink 2 2".
  const [, stem = label, number = '1'] = /^(.*\S)\s+(\d+)$/.exec(label) ?? [];
  for (let next = Number(number) + 1; ; next += 1) {
    const name = `${stem} ${next}`;
    if (!names.has(name.toLowerCase())) return name;
  }
}
