// What pages ask and what they are shown. Written by `python -m tests.page.types`; not by hand.

export interface Asks {
  addown: { rows: string; named?: string };
  along: { place: number };
  answer: { number: number; choice: number };
  bar: { fret: number };
  choose: { instrument?: string | null; temperament?: string | null; root?: number | null; drop?: string | null; timbre?: string | null; reference_hz?: number | null; against?: string | null };
  chord: { lead: string };
  compare: { between: [string, string] | null };
  copyset: { name: string; by?: string };
  counted: { low: string; high: string; beats: number; seconds: number; side?: "" | "narrow" | "wide" };
  decide: Record<string, never>;
  demonstrate: { at: number };
  device: { name?: string | null };
  devices: Record<string, never>;
  ears: { person?: string };
  editset: { by?: string };
  engage: { change: string; travel: number };
  equal: { string: number };
  findinputs: Record<string, never>;
  findtunings: { text: string };
  footinput: { port: string };
  forget: { person: string };
  forgetgrip: { name: string };
  forgetown: Record<string, never>;
  forgetpedal: { change: string };
  forgetsong: { name: string };
  goon: { person?: string; session?: number | null; feedback?: boolean };
  grip: { name: string };
  hear: { at?: number };
  hearclass: Record<string, never>;
  heartones: { on: boolean; only?: boolean };
  heartuning: { place: number };
  input: { name?: string | null; channel?: number };
  inputs: Record<string, never>;
  keep: { name: string };
  keepdrop: { name: string };
  keeplearned: Record<string, never>;
  keys: Record<string, never>;
  learnpedal: { change: string };
  learnpress: { does: string; by?: string };
  lesson: { name: string; step?: number };
  lessonquestion: { lesson: string; step: number };
  level: { dbfs: number };
  listen: { what: "" | "count" | "drop" | "learn" | "order"; low?: string; high?: string };
  matchrecording: { name: string; person?: string };
  measure: { where: string; keys: string };
  meter: { cents: number };
  move: { cents: number };
  moveon: { on: boolean };
  moveown: { row: string; to: number };
  mute: { on: boolean };
  nextsong: Record<string, never>;
  nexttrial: Record<string, never>;
  objective: { name: "beats" | "cents" | "worst-beats" | "worst-cents" };
  offset: { string: number; offset_cents: number; gesture?: string };
  only: { low?: string | null; high?: string | null };
  openown: { kind: "drops" | "instruments" | "receivers" | "scenes"; name: string };
  openset: { name: string };
  opentuning: { name: string };
  order: Record<string, never>;
  oscin: { port: number | null };
  panic: Record<string, never>;
  panicset: Record<string, never>;
  pause: Record<string, never>;
  picked: { string: number };
  pin: { string: number; changes: Array<string>; travel?: number };
  ping: { sent_ms: number };
  playset: { without?: Array<string>; keyboards?: Array<string> };
  practise: { interval: string; register: string; person?: string; feedback?: boolean };
  previoussong: Record<string, never>;
  pure: { string: number; against: string };
  putback: Record<string, never>;
  putown: { field: string; typed: string };
  putsetback: Record<string, never>;
  read: { string: number; unit: "beats" | "cents" | "hz"; value: string; against?: string; ratio?: string; seconds?: string; side?: "" | "narrow" | "wide" };
  readlist: { text: string };
  readown: Record<string, never>;
  receiver: { name: string; policy: string; follow: boolean };
  redo: Record<string, never>;
  release: Record<string, never>;
  reply: { at: number };
  savegrip: { name: string };
  savemeasured: { name: string };
  saveown: Record<string, never>;
  saveset: { stamp: string; title: string; songs: Array<SongRow>; receivers?: Array<ReceiverRow>; controls?: Array<ControlRow>; by?: string };
  savesong: { name: string; key: number; minor?: boolean };
  scene: { name: string };
  send: { where: string };
  settle: { number: number; cents: number };
  sharelesson: { lesson: string };
  showanswer: Record<string, never>;
  shownext: { number: number };
  song: { name: string };
  sound: { on: boolean };
  split: { on: boolean };
  stand: { changes: Array<string> };
  startclass: { names?: boolean; on_phones?: boolean };
  startown: { kind: "drops" | "instruments" | "receivers" | "scenes"; like?: string };
  steady: { on: boolean; comfortable?: boolean };
  step: { at: number; heard?: "against" | "beating" | "both" };
  stopclass: Record<string, never>;
  stopmeasuring: Record<string, never>;
  stopwaiting: Record<string, never>;
  strings: { strings: Array<number> };
  takeinstrument: { name: string };
  takeoffer: Record<string, never>;
  takeownout: { row: string };
  takerig: Record<string, never>;
  taketuning: { name: string };
  tapped: { low: string; high: string; times_ms: Array<number> };
  taps: { number: number; times_ms: Array<number> };
  target: { string: number };
  targets: Record<string, never>;
  temper: Record<string, never>;
  through: { port: string };
  throwaway: Record<string, never>;
  tones: { low?: string | null; high?: string | null; ratio?: string | null };
  train: { kind: "purer" | "side" | "set" | "rate" | "match" | "name" | "abx" | "own"; person?: string; intervals?: string; grip?: string | null; register?: string; timbre?: string; bed?: "none" | "noise" | "chord"; seconds?: number | null; trials?: number | null; method?: "two-down" | "three-down" | "bayes" | "fixed" | "blocks" | null; cents?: string; feedback?: boolean };
  trainclass: { kind: "purer" | "side" | "set" | "rate" | "match" | "name" | "abx" | "own"; intervals?: string; cents?: number | null };
  tunetones: { to: "equal" | "pure" };
  undo: Record<string, never>;
  unread: { at?: number | null };
  weigh: { grip: string; weight: number };
}

export interface Shows {
  asked: WantedScene;
  choices: Choices;
  class: ClassView;
  compared: Compared;
  count: Count;
  devices: DevicesView;
  eargraphs: EarGraphs;
  ears: EarsView;
  evening: EveningView;
  fault: Fault;
  foot: FootView;
  hearing: Hearing;
  inputs: InputsView;
  keys: KeysView;
  learned: LearnedView;
  lesson: Teaching;
  measuring: ReceiverHeardView;
  moment: Moment;
  notices: Notices;
  offer: Offer;
  order: OrderView;
  own: OwnView;
  ownchoices: OwnChoices;
  phone: ListenersView;
  pong: Pong;
  presslearned: PressLearned;
  readings: Readings;
  remote: RemoteView;
  setrig: RigView;
  setrows: SetRows;
  tablets: ForTablets;
  told: Told;
  tunings: TuningsView;
  two: TwoTonesView;
  view: View;
  volume: Volume;
}

export type AfterView = { number: number; of: number; question: string; sounds: Array<string>; last: boolean };

export type AnsweredShare = { words: string; answered: number; right: number };

export type AskedView = { number: number; of: number; question: string; form: string; choices: Array<string>; sounds: Array<string>; moved_cents: number; farthest_cents: number };

export type Cell = { string: number; column: string; note: string; offset: string; hz: string; moved: boolean; stands: boolean; pinned: boolean; changes: Array<string>; travel: number; asked: boolean };

export type ChangeView = { name: string; place: string; key: string; travel: number; half_stops: Array<number> };

export type CheckView = { pair: string; engaged: string; should: string; within: string };

export type Choices = { presets: Record<string, Array<PresetName>>; roots: Array<string>; song_keys: Array<string>; hearing_caution: string; version: string };

export type ChordRow = { name: string; got: string; asked: Array<string> };

export type ClassView = { live: boolean; link: string; code: Array<string>; names: boolean; on_phones: boolean; phones: number; number: number; question: string; choices: Array<string>; answered: number; right: number | null; words: string; counts: Array<number>; who: Array<Array<string>>; lessons: Array<LessonForClass>; lesson: string; steps: Array<AnsweredShare>; listeners: Array<AnsweredShare> };

export type Column = { name: string; changes: Array<string>; half: boolean };

export type Compared = { between: [string, string] | null; names: [string, string]; over: string; grips: Array<GripSides>; points: Array<PointSides>; words: string };

export type ControlRow = { was: number; on: string; from_port: string; does: string; moves: string; channel: string; device: string };

export type Count = { low: string; high: string; rate: string; surely: string; wide: string; narrow: string };

export type Curve = { name: string; words: string; path: Array<[number, number]>; marks: Array<Mark>; span: Span | null; band: Array<[number, number]> };

export type DevicesView = { names: Array<string>; chosen: string | null };

export type Draft = { kind: "drops" | "instruments" | "receivers" | "scenes"; name: string; was: string; stamp: string; text: string; aside: Record<string, string> };

export type DrawnString = { place: number; called: string; offset: string; cents: number; wishes: Array<WishRow>; clash: string };

export type DrawnTuning = { name: string; title: string; rule: string; strings: Array<DrawnString>; purity: string; source: string; can_be_taken: boolean };

export type DropView = { string: number; change: string; cents: string; give_or_take: string; doubt: string };

export type EarGraphs = { session: Array<Graph>; days: Array<Graph>; words: Array<string> };

export type EarsView = { offered: Offered; people: Array<string>; person: string; kept: number; waiting: Array<Named>; asked: AskedView | null; after: AfterView | null; said: string; right: boolean | null; results: Array<ResultView>; heard: number | null; notice: string; next: Array<PracticeView> };

export type EveningSong = { number: number; name: string; key: string; fret: string; line: string };

export type EveningView = { name: string; title: string; songs: Array<EveningSong>; now: number; next: number; words: string; rig: string };

export type Fault = { text: string };

export type Foot = { port: string; pedals: Array<PedalControl> };

export type FootRow = { change: string; control: string };

export type FootView = { port: string; learns: string; pedals: Array<FootRow>; words: string };

export type ForTablets = { link: string; code: Array<string> };

export type FrontMark = { across: number; up: number; words: string };

export type Graph = { title: string; across: string; up: string; across_ticks: Array<Tick>; up_ticks: Array<Tick>; curves: Array<Curve> };

export type GripOffer = { name: string; before: string; after: string; better: boolean; intervals: Array<IntervalOffer> };

export type GripSides = { name: string; rates: [string, string]; slower: number; intervals: Array<IntervalSides> };

export type GripView = { name: string; own: boolean; taken: boolean };

export type Hearing = { what: "" | "count" | "drop" | "learn" | "order"; device: string; silent: boolean; pick: number; strings: Array<number>; cents: string; beats_per_second: number; side: string; words: string; sure: string };

export type InputView = { name: string; channels: number };

export type InputsView = { inputs: Array<InputView>; chosen: string | null; channel: number };

export type IntervalOffer = { names: string; ratio: string; before: string; after: string; before_beats: number; after_beats: number };

export type IntervalSides = { names: string; ratio: string; sides: [Side, Side] };

export type KeyRow = { name: string; wanted: string; sent: string; left: string };

export type KeysView = { receiver: string; receivers: Record<string, string>; policy: string; policies: Array<string>; follow: boolean; lead: string; leads: Array<string>; chord: Array<ChordRow>; per: string; by_osc: boolean; rows: Array<KeyRow>; spread: Array<string>; worst: string; outputs: Array<string>; inputs: Array<string>; status: string; words: string; seconds: number };

export type KindView = { name: string; words: string; task: string; trials: number; method: string; threshold: boolean; cents: boolean; length: boolean };

export type LearnedRow = { string: number; note: string; words: string; learned: boolean };

export type LearnedView = { rows: Array<LearnedRow>; which: Array<number>; keeps: number };

export type LessonForClass = { name: string; title: string; questions: Array<QuestionName> };

export type LessonName = { name: string; title: string; done: string };

export type LessonSoundView = { caption: string; hidden: boolean; seconds: number; tones: Array<ToneView>; swells: Array<SwellView>; words: Array<string> };

export type LessonStepView = { lesson: string; at: number; of: number; title: string; say: string; sounds: Array<LessonSoundView>; ask: string; form: string; what_to_do: string; about: number; sung: boolean; farthest_cents: number; answers: Array<string>; verdict: string; right: boolean | null; heard: number | null };

export type ListenersView = { number: number; question: string; choices: Array<string>; mine: number | null; right: number | null; words: string; shown: Array<number>; names: boolean; on_phones: boolean; lesson: LessonStepView | null };

export type Mark = [across: number, up: number, low: number, high: number, weight: number];

export type MeterReading = { string: number; changes: Array<string>; unit: string; value: string; against: string; ratio: string; seconds: string; side: string };

export type Moment = { stream: number; frame: number; heard_frame: number; heard_at_ms: number; sample_rate: number; beats: Array<ShownBeat>; peak_dbfs: number };

export type MovedPoint = { string: number; changes: Array<string>; offset_cents: number; travel: number };

export type Named = { name: string; words: string };

export type NextView = { string: number; changes: Array<string>; where: string; why: string; again: boolean };

export type Notices = { lines: Array<string>; undecided: boolean };

export type Offer = { found: boolean; summary: string; grips: Array<GripOffer>; points: Array<PointOffer>; notes: Array<string>; front: Array<FrontMark>; across: string; up: string; chosen: number };

export type Offered = { kinds: Array<KindView>; intervals: Array<Named>; registers: Array<Named>; timbres: Array<Named>; beds: Array<Named>; lengths: Array<Named>; methods: Array<Named> };

export type OrderView = { steps: Array<TuningStepView>; checks: Array<CheckView>; cautions: Array<string>; at: number; heard: "both" | "beating" | "against"; stale: boolean };

export type OwnChoices = { all: Record<string, Array<string>>; yours: Record<string, Array<string>> };

export type OwnInstrument = { name: string; strings: Array<number>; changes: Array<string>; grips: Array<string> };

export type OwnKeyRow = { note: string; own: string; within: string; left: string };

export type OwnView = { kind: string; name: string; was: string; fields: Record<string, string>; rows: Record<string, number>; faults: Array<RowFault>; changed: boolean; elsewhere: boolean; words: string; steel: OwnInstrument };

export type PairView = { low: string; high: string; names: string; strings: string; ratio: string; interval: string; cents: string; direction: string; audible: string; beats_per_second: number; rate: string; counts: string; pulse: string; listen: string; plays: boolean };

export type PedalControl = { change: string; number: number; channel: number };

export type Playing = { travels: Record<string, number>; strings: Array<number>; fret: number; song: string; only: [string, string] | null; two_tones: boolean; two_tones_only: boolean; split: boolean; sounding: boolean; muted: boolean; level_dbfs: number; evening: string; goes_on: boolean };

export type PointOffer = { point: string; before: string; after: string };

export type PointSides = { point: string; offsets: [string, string]; apart: string };

export type Pong = { sent_ms: number; clock_ms: number };

export type PracticeView = { interval: string; register: string; words: string };

export type PresetName = { name: string; title: string };

export type PressLearned = { by: string; on: string; from_port: string; channel: string; words: string; waits: boolean };

export type QuestionName = { step: number; title: string };

export type RatioChoice = { ratio: string; words: string };

export type ReadingView = { where: string; read: string; cents: string; doubt: string };

export type Readings = { readings: Array<ReadingView>; drops: Array<DropView>; together: Array<TogetherView>; undecided: Array<string>; next: Array<NextView>; scatter: string; words: string; meter_cents: number };

export type ReceiverHeardView = { plays: boolean; done: number; whole: number; words: string; rows: Array<OwnKeyRow>; found: boolean; to_know: Array<string> };

export type ReceiverRow = { was: number; name: string; receiver: string; door: "port" | "to" | "virtual_port"; where: string; from_channels: string; from_keys: string; transpose: string; follows: string; follow: string };

export type ReceiverStanding = { name: string; receiver: string; where: string; state: "" | "going" | "gone" | "ready"; waits_for: Array<string> };

export type RemoteView = { port: number | null; words: string };

export type ResultView = { interval: string; trials: number; result: string; range: string };

export type RigView = { status: "" | "begins" | "ends" | "played"; receivers: Array<ReceiverStanding>; inputs: Array<string> };

export type RowFault = { field: string; why: string };

export type RungView = [place: number, meets: boolean];

export type SavedGrip = { name: string; strings: Array<number>; travels: Record<string, number> };

export type SetRows = { name: string; may: string; stamp: string; title: string; songs: Array<SongRow>; receivers: Array<ReceiverRow>; controls: Array<ControlRow>; presets: Array<string>; leads: Array<string>; faults: Array<RowFault>; by: string };

export type Setting = { instrument: string; temperament: string; root: number | null; drop: string; reference_hz: number; timbre: string; against: string; moved: Array<MovedPoint>; grips: Array<SavedGrip>; songs: Array<Song>; scene: string; weights: Record<string, number>; pins: Array<MovedPoint>; objective: "beats" | "cents" | "worst-beats" | "worst-cents"; readings: Array<MeterReading>; meter_cents: number; compared: [string, string] | null; two_tones: TwoTones; draft: Draft | null; foot: Foot };

export type ShownBeat = [low: string, high: string, turns: number, turns_per_second: number];

export type Side = { cents: string; rate: string; beats_per_second: number };

export type Song = { name: string; key: number; minor: boolean };

export type SongRow = { was: number; name: string; key: string; fret: string; follows: string; line: string; grips: string };

export type SongView = { name: string; key: string; taken: boolean };

export type Span = [low: number, value: number, high: number, up: number];

export type StepView = { cents: number; beats: string };

export type StringView = { number: number; note: string; cents: string; hz: string; drop: string; role: string; in_grip: boolean; point: string; changes: Array<string>; travel: number; pinned: boolean; offset_cents: number; target_cents: number; target: string; pure_with: Array<string>; heard_with: string; beats: string; steps: Array<StepView> };

export type SwellView = { pair: string; loud: Array<number> };

export type Teaching = { lessons: Array<LessonName>; step: LessonStepView | null };

export type Tick = [at: number, name: string];

export type TogetherView = { string: number; changes: Array<string>; cents: string; give_or_take: string; sum: string };

export type Told = { text: string };

export type ToneView = { name: string; rungs: Array<RungView> };

export type TuningRow = { name: string; title: string; notes: string; transposed: string };

export type TuningStepView = { tune: string; against: string; engaged: string; bar: string; count: string; rate: string; interval: string; listen: string; sounds_like: string; sure: string; beats_per_second: number; audible: string };

export type TuningsView = { text: string; rows: Array<TuningRow>; shown: DrawnTuning | null };

export type TwoTones = { low: string; high: string; ratio: string };

export type TwoTonesView = { written: TwoTones; low_words: string; high_words: string; ratios: Array<RatioChoice>; pair: PairView; heard: boolean; only: boolean };

export type View = { revision: number; title: string; root_name: string; frets: number; fret: number; bar: string; state: string; changes: Array<ChangeView>; columns: Array<Column>; cells: Array<Cell>; strings: Array<StringView>; pairs: Array<PairView>; grips: Array<GripView>; songs: Array<SongView>; cautions: Array<string>; setting: Setting; playing: Playing; outlet: string; undo: string; redo: string };

export type Volume = { steady: boolean; is_set: boolean };

export type WantedScene = { scene: string; scene_title: string; band: string; objective: string; objectives: Record<string, string>; wanted: Array<WantedView>; pins: Array<string> };

export type WantedView = { name: string; weight: number };

export type WishRow = { who: string; why: string; wished: string; share: number; rate: string };
