// The order in which a place is swept: one fixture at a time, for a person kneels before one at a time.

/** Keeps the order in which subjects first come up, and brings together what is wanted of each. */
export function by_subject<T extends { subject: string }>(needs: T[]): T[] {
  const groups = new Map<string, T[]>();
  for (const need of needs) {
    const group = groups.get(need.subject);
    if (group === undefined) groups.set(need.subject, [need]);
    else group.push(need);
  }
  return [...groups.values()].flat();
}
