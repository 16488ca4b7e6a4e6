// What lies over a walk or a place: the reason of a verdict, the history of a fact.

import type { FactHistory, NeedView, ReasonPage } from '../../core/types';
import { light, target_of } from '../parts/dock';
import { Alarm } from '../parts/forms';
import { LineMark, VerdictMark } from '../parts/shape';
import { Sheet } from '../parts/sheet';
import { close_sheet, command, go, locked, route, views } from '../state';
import { how_word, local_times, MARK_WORDS } from '../words';

export function Over({ doc }: { doc: string }) {
  const here = route.value;
  const now = views.value;
  if ((here.screen !== 'job' && here.screen !== 'place') || here.sheet === null || now === null) return null;
  if (here.sheet.sheet === 'reason') {
    const reason = now.reason;
    if (
      reason === null ||
      reason.verdict.provision !== here.sheet.provision ||
      reason.verdict.subject !== here.sheet.subject
    )
      return <Problem text={now.problem} />;
    return <Reason doc={doc} reason={reason} />;
  }
  const history = now.history;
  if (history === null) return <Problem text={now.problem} />;
  return <History subject={here.sheet.subject} fact={here.sheet.fact} history={history} />;
}

function Problem({ text }: { text: string | null }) {
  if (text === null) return null;
  return (
    <Sheet title="This cannot be shown" onClose={close_sheet}>
      <p role="alert">{text}</p>
    </Sheet>
  );
}

function Reason({ doc, reason }: { doc: string; reason: ReasonPage }) {
  const { verdict } = reason;
  return (
    <Sheet title={verdict.title} wide={true} onClose={close_sheet}>
      <p class="reason-head">
        <VerdictMark verdict={verdict.verdict} />
        <span>
          {reason.subject_name}, {reason.place_name}
        </span>
        <span class="cite">{verdict.cite}</span>
      </p>
      <p class="big">{[verdict.because, verdict.margin].filter((part) => part !== null && part !== '').join(', ')}</p>
      {reason.tell !== '' && (
        <section>
          <h3>What the contractor is told</h3>
          <p>{reason.tell}</p>
        </section>
      )}
      {reason.still_to_see.length > 0 && (
        <section>
          <h3>What would decide it</h3>
          <ul class="needs">
            {reason.still_to_see.map((need) => (
              <li key={`${need.subject}/${need.what}/${need.closing}`}>
                <button type="button" onClick={() => visit(doc, need)}>
                  {need.label}, {need.subject_name}
                </button>
              </li>
            ))}
          </ul>
        </section>
      )}
      <section>
        <h3>How it was reached</h3>
        <ol class="reasons" aria-label="Reasons">
          {reason.lines.map((line, index) => (
            <li key={index} class={`depth-${Math.min(line.depth, 5)}`}>
              <LineMark mark={line.mark} />
              <span>
                {line.text}
                {line.mark !== 'none' && <span class="unseen">, {MARK_WORDS[line.mark]}</span>}
              </span>
              <span class="detail">{local_times(line.detail)}</span>
            </li>
          ))}
        </ol>
      </section>
      {reason.look !== '' && (
        <section>
          <h3>What to look at</h3>
          <p>{reason.look}</p>
        </section>
      )}
      {reason.why !== '' && (
        <section>
          <h3>Why it matters</h3>
          <p>{reason.why}</p>
        </section>
      )}
      {reason.basis !== '' && (
        <section>
          <h3>Where the limit was read</h3>
          <p>{reason.basis}</p>
        </section>
      )}
    </Sheet>
  );
}

/** Walks to where something is still to be seen and puts the light on it. */
function visit(doc: string, need: NeedView): void {
  go({ screen: 'place', doc, place: need.place, sheet: null });
  // The screen clears the light when it changes place; put it on when that is done.
  setTimeout(() => light(target_of(need)), 120);
}

const STANDING_WORDS: Record<string, string> = {
  stands: 'Stands',
  replaced: 'Replaced',
  withdrawn: 'Withdrawn',
  disputed: 'In dispute',
};

function History({ subject, fact, history }: { subject: string; fact: string; history: FactHistory }) {
  const disputed = history.items.filter((item) => item.standing === 'disputed');
  return (
    <Sheet title={`${history.label}, ${history.subject_name}`} wide={true} onClose={close_sheet}>
      {disputed.length > 1 && (
        <p class="big">{disputed.length} values stand. One who has seen both decides; all of them stay readable.</p>
      )}
      {history.items.length === 0 && <p>Nothing was recorded yet.</p>}
      <ol class="history" aria-label="What was recorded, oldest first">
        {history.items.map(({ observation, standing }) => (
          <li key={observation.id} data-standing={standing}>
            <span class="standing">{STANDING_WORDS[standing] ?? standing}</span>
            <span>
              <b>{observation.value || 'not known'}</b>, {how_word(observation.how).toLowerCase()}
              {observation.note !== '' && <span> · {observation.note}</span>}
              <small>
                {observation.by}, {local_times(observation.at)}, {observation.device}
              </small>
            </span>
            {standing === 'disputed' && locked() === null && (
              <button
                type="button"
                onClick={() =>
                  command(
                    observation.typed === ''
                      ? { do: 'withdraw', subject, fact, note: `Decided for ${observation.by}` }
                      : {
                          do: 'record',
                          subject,
                          fact,
                          value: observation.typed,
                          how: observation.how,
                          note: `Decided for ${observation.by}`,
                        },
                    `${history.label} of ${history.subject_name}, decided for ${observation.value}`,
                  )
                }
              >
                Decide for {observation.value}
              </button>
            )}
          </li>
        ))}
      </ol>
      <Alarm />
    </Sheet>
  );
}
