// The morning: what is to be seen today, and whether the tablet can do it without a signal.

import { useRef, useState } from 'preact/hooks';
import type { ImportOutcome, JobRow, Status } from '../../shared/messages';
import { ask } from '../bridge';
import { Alarm } from '../parts/forms';
import { Shape, TallyLine } from '../parts/shape';
import { attempt, persisted, program_stored, status } from '../state';
import { count, DISPOSITION_SHAPE, day_words, stage_word, standing_words, visit_words } from '../words';

/** Who may bring jobs in; the server holds to the same. */
const IMPORTERS = ['supervisor', 'clerk', 'administrator'];

export function Day() {
  const now = status.value;
  if (now === null || now.session === null) return null;
  const listed = now.rows.filter((row) => row.listed);
  const kept = now.rows.filter((row) => !row.listed);
  return (
    <main class="page">
      <div class="title-row">
        <div>
          <h1 tabIndex={-1}>Jobs taken along</h1>
          <p class="under">
            {now.session.name} · {now.session.agency}
          </p>
        </div>
        <a class="button" href="#/settings">
          Settings
        </a>
      </div>
      <Readiness now={now} rows={listed} />
      <Alarm />
      {listed.length === 0 && now.taking === null && (
        <p class="card">
          No job is assigned to you. When the office has assigned some, take them along with the button above.
        </p>
      )}
      <ul class="jobs" aria-label="Jobs">
        {listed.map((row) => (
          <Row key={row.doc} row={row} />
        ))}
      </ul>
      {kept.length > 0 && (
        <section>
          <h2>No longer on your list, kept on this tablet</h2>
          <ul class="jobs" aria-label="Kept jobs">
            {kept.map((row) => (
              <Row key={row.doc} row={row} />
            ))}
          </ul>
        </section>
      )}
      {IMPORTERS.includes(now.session.role) && <Import />}
    </main>
  );
}

function Readiness({ now, rows }: { now: Status; rows: JobRow[] }) {
  const ready = rows.filter((row) => row.ready).length;
  const all = rows.length > 0 && ready === rows.length && now.rulesets.loaded && program_stored.value;
  return (
    <section class="card readiness" aria-label="Ready to leave">
      <div>
        <p class="big" data-testid="readiness">
          {all ? 'Ready to go without a signal' : not_ready(ready, rows.length)}
        </p>
        <ul class="checks">
          <Check done={program_stored.value} yes="Program stored" no="Program not stored yet" />
          <Check done={now.rulesets.loaded} yes="Codes stored" no={now.rulesets.problem ?? 'Codes not stored yet'} />
          <Check
            done={rows.length > 0 && ready === rows.length}
            yes="Jobs stored"
            no={rows.length === 0 ? 'No job stored yet' : `${ready} of ${count(rows.length, 'job')} stored`}
          />
          {persisted.value !== true && (
            <Check
              done={false}
              yes=""
              no="The browser has not promised to keep this data when space runs short. Install Crownweir on the home screen and keep some space free."
            />
          )}
        </ul>
        {now.taking !== null && (
          <label class="taking">
            <span role="status">
              Taking jobs along: {now.taking.done} of {now.taking.of}
            </span>
            <progress max={Math.max(1, now.taking.of)} value={now.taking.done} />
          </label>
        )}
      </div>
      <button
        type="button"
        class="primary"
        disabled={now.writer === 'elsewhere' || now.taking !== null}
        onClick={() => attempt(() => ask({ type: 'take_along' }))}
      >
        Take the jobs along
      </button>
    </section>
  );
}

function not_ready(ready: number, of: number): string {
  return of === 0
    ? 'Not ready to leave yet: no job is here'
    : `Not ready to leave yet: ${ready} of ${count(of, 'job')} fully here`;
}

function Check({ done, yes, no }: { done: boolean; yes: string; no: string }) {
  return (
    <li class={done ? 'ink-complies' : 'ink-undetermined'}>
      <Shape name={done ? 'complies' : 'undetermined'} /> {done ? yes : no}
    </li>
  );
}

function others(row: JobRow, me: string): string {
  return row.assigned
    .filter((person) => person.user !== me)
    .map((person) => person.name)
    .join(', ');
}

function Row({ row }: { row: JobRow }) {
  const me = status.value?.session?.user ?? '';
  const permit = (
    <>
      <span class="permit">{row.permit}</span>
      <span class="stage-tag">{row.visit_open === '' ? stage_word(row.stage) : row.visit_open}</span>
    </>
  );
  return (
    <li class="job card" data-testid={`job:${row.permit}`}>
      {row.on_tablet ? (
        <a class="job-permit" href={`#/job/${encodeURIComponent(row.doc)}`}>
          {permit}
        </a>
      ) : (
        <span class="job-permit">{permit}</span>
      )}
      <span class="job-address">{row.address}</span>
      <span class="job-scope">{row.scope}</span>
      <span class="job-law">
        {row.law} · applied for {day_words(row.applied_on)}
        {row.scheduled !== '' && ` · to be seen ${day_words(row.scheduled)}`}
      </span>
      <span class="job-law">
        {row.last_visit === null
          ? 'No visit before'
          : `${count(row.visits_before, 'visit')} before; last: ${visit_words(row.last_visit)}`}
        {others(row, me) !== '' && ` · with ${others(row, me)}`}
      </span>
      {row.on_tablet && row.visit_open === '' && row.problem === null && (
        <span class="job-so-far">No visit is open yet</span>
      )}
      {row.visit_open !== '' && row.disposition !== null && row.tally !== null && (
        <span class="job-so-far">
          <b class={`ink-${DISPOSITION_SHAPE[row.disposition.word]}`}>
            <Shape name={DISPOSITION_SHAPE[row.disposition.word]} /> {row.disposition.label}
          </b>
          <TallyLine tally={row.tally} />
        </span>
      )}
      <span class="job-standing">
        <span>
          <Shape name={row.ready ? 'complies' : 'undetermined'} />{' '}
          {row.ready ? 'Ready to go without a signal' : 'Not fully on this tablet yet'}
        </span>
        <span>
          <Shape name={row.standing.word === 'tablet' ? 'tablet' : 'server'} /> {standing_words(row.standing)}
        </span>
      </span>
      {row.standing.unavailable && (
        <span class="warning">The server says that this job is not yours to open. Ask the office.</span>
      )}
      {row.standing.trouble !== null && <span class="warning">{row.standing.trouble}</span>}
      {row.problem !== null && <span class="warning">{row.problem}</span>}
    </li>
  );
}

function Import() {
  const input = useRef<HTMLInputElement>(null);
  const [outcome, set_outcome] = useState<ImportOutcome[] | null>(null);
  return (
    <section class="card stack">
      <h2>Bring jobs in</h2>
      <p>A job file (JSON) as the permit system writes it. Each job of it is taken or answered with what is wrong.</p>
      <label class="button file">
        Import a job file
        <input
          ref={input}
          type="file"
          accept="application/json,.json"
          onChange={async () => {
            const file = input.current?.files?.[0];
            if (file === undefined) return;
            set_outcome(null);
            await attempt(async () => set_outcome(await ask({ type: 'import_jobs', text: await file.text() })));
            if (input.current !== null) input.current.value = '';
          }}
        />
      </label>
      {outcome !== null && (
        <ul role="status">
          {outcome.map((one) => (
            <li key={one.permit} class={one.problem === null ? '' : 'warning'}>
              {one.problem === null
                ? `Permit ${one.permit} was taken.`
                : `Permit ${one.permit || 'without a number'} was not taken: ${one.problem}`}
            </li>
          ))}
        </ul>
      )}
    </section>
  );
}
