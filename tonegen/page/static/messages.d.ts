// What pages ask and what they are shown. Written by `python -m tests.page.types`; not by hand.

export interface Asks {
  along: { place: number };
  answer: { number: number; choice: number };
  bar: { fret: number };
  choose: { instrument?: string | null; temperament?: string | null; root?: number | null; drop?: string | null; timbre?: string | null; reference_hz?: number | null; against?: string | null };
  compare: { between: [string, string] | null };
  counted: { low: string; high: string; beats: number; seconds: number };
  decide: Record<string, never>;
  demonstrate: { at: number };
  device: { name?: string | null };
  devices: Record<string, never>;
  ears: { person?: string };
  engage: { change: string; travel: number };
  equal: { string: number };
  forget: { person: string };
  forgetgrip: { name: string };
  forgetsong: { name: string };
  goon: { person?: string; session?: number | null; feedback?: boolean };
  grip: { name: string };
  hear: { at?: number };
  heartones: { on: boolean; only?: boolean };
  keep: { name: string };
  keepdrop: { name: string };
  keys: Record<string, never>;
  lesson: { name: string; step?: number };
  level: { dbfs: number };
  listen: { port: number | null };
  meter: { cents: number };
  move: { cents: number };
  mute: { on: boolean };
  objective: { name: "beats" | "cents" | "worst-beats" | "worst-cents" };
  offset: { string: number; offset_cents: number; gesture?: string };
  only: { low?: string | null; high?: string | null };
  order: Record<string, never>;
  panic: Record<string, never>;
  pause: Record<string, never>;
  pin: { string: number; changes: Array<string> };
  ping: { sent_ms: number };
  pure: { string: number; against: string };
  putback: Record<string, never>;
  read: { string: number; unit: "beats" | "cents" | "hz"; value: string; against?: string; ratio?: string };
  readlist: { text: string };
  receiver: { name: string; policy: string; follow: boolean };
  redo: Record<string, never>;
  release: Record<string, never>;
  reply: { at: number };
  savegrip: { name: string };
  savesong: { name: string; key: number };
  scene: { name: string };
  send: { where: string };
  settle: { number: number; cents: number };
  song: { name: string };
  sound: { on: boolean };
  split: { on: boolean };
  stand: { changes: Array<string> };
  steady: { on: boolean; comfortable?: boolean };
  step: { at: number; only?: boolean };
  strings: { strings: Array<number> };
  takeoffer: Record<string, never>;
  tapped: { low: string; high: string; times_ms: Array<number> };
  taps: { number: number; times_ms: Array<number> };
  target: { string: number };
  targets: Record<string, never>;
  temper: Record<string, never>;
  through: { port: string };
  throwaway: Record<string, never>;
  tones: { low?: string | null; high?: string | null; ratio?: string | null };
  train: { kind: "purer" | "side" | "set" | "rate" | "match" | "name" | "abx"; person?: string; intervals?: string; grip?: string | null; register?: string; timbre?: string; bed?: "none" | "noise" | "chord"; trials?: number | null; method?: "two-down" | "three-down" | "bayes" | "fixed" | null; cents?: string; feedback?: boolean };
  tunetones: { to: "equal" | "pure" };
  undo: Record<string, never>;
  unread: { at?: number | null };
  weigh: { grip: string; weight: number };
}

export interface Shows {
  asked: TemperAsked;
  choices: PlayChoices;
  compared: CompareCompared;
  count: CountCount;
  devices: SoundDevices;
  eargraphs: EarsEarGraphs;
  ears: EarsEarsView;
  fault: EngineFault;
  keys: KeysKeysView;
  lesson: EarsTeaching;
  moment: SoundMoment;
  notices: NoticesNotices;
  offer: TemperOffer;
  order: OrderPlan;
  pong: ServerPong;
  readings: DropReadings;
  remote: RemoteRemoteView;
  two: TonesTwoTonesView;
  view: PlayView;
  volume: SoundVolume;
}

export type CompareCompared = { between: [string, string] | null; names: [string, string]; over: string; grips: Array<CompareGripSides>; points: Array<ComparePointSides>; words: string };

export type CompareGripSides = { name: string; rates: [string, string]; slower: number; intervals: Array<CompareIntervalSides> };

export type CompareIntervalSides = { names: string; ratio: string; sides: [CompareSide, CompareSide] };

export type ComparePointSides = { point: string; offsets: [string, string]; apart: string };

export type CompareSide = { cents: string; rate: string; beats_per_second: number };

export type CountCount = { low: string; high: string; rate: string; surely: string; wide: string; narrow: string };

export type DropDropView = { string: number; change: string; cents: string; give_or_take: string };

export type DropNextView = { string: number; changes: Array<string>; where: string; why: string };

export type DropReadingView = { where: string; read: string; cents: string; doubt: string };

export type DropReadings = { readings: Array<DropReadingView>; drops: Array<DropDropView>; undecided: Array<string>; next: Array<DropNextView>; scatter: string; words: string; meter_cents: number };

export type EarsAskedView = { number: number; of: number; question: string; form: string; choices: Array<string>; sounds: Array<string>; moved_cents: number; farthest_cents: number };

export type EarsCurve = { name: string; words: string; path: Array<[number, number]>; marks: Array<EarsMark>; span: EarsSpan | null };

export type EarsEarGraphs = { session: Array<EarsGraph>; days: Array<EarsGraph> };

export type EarsEarsView = { offered: EarsOffered; people: Array<string>; person: string; kept: number; waiting: Array<EarsNamed>; asked: EarsAskedView | null; said: string; right: boolean | null; results: Array<EarsResultView>; heard: number | null; notice: string };

export type EarsGraph = { title: string; across: string; up: string; across_ticks: Array<EarsTick>; up_ticks: Array<EarsTick>; curves: Array<EarsCurve> };

export type EarsKindView = { name: string; words: string; task: string; trials: number; method: string; threshold: boolean; cents: boolean };

export type EarsLessonName = { name: string; title: string };

export type EarsLessonSoundView = { caption: string; seconds: number; tones: Array<EarsToneView>; swells: Array<EarsSwellView>; words: Array<string> };

export type EarsMark = [across: number, up: number, low: number, high: number, weight: number];

export type EarsNamed = { name: string; words: string };

export type EarsOffered = { kinds: Array<EarsKindView>; intervals: Array<EarsNamed>; registers: Array<EarsNamed>; timbres: Array<EarsNamed>; beds: Array<EarsNamed>; methods: Array<EarsNamed> };

export type EarsResultView = { interval: string; trials: number; result: string; range: string };

export type EarsRungView = [place: number, meets: boolean];

export type EarsSpan = [low: number, value: number, high: number, up: number];

export type EarsStepView = { lesson: string; at: number; of: number; title: string; say: string; sounds: Array<EarsLessonSoundView>; ask: string; answers: Array<string>; verdict: string; right: boolean | null; heard: number | null };

export type EarsSwellView = { pair: string; loud: Array<number> };

export type EarsTeaching = { lessons: Array<EarsLessonName>; step: EarsStepView | null };

export type EarsTick = [at: number, name: string];

export type EarsToneView = { name: string; rungs: Array<EarsRungView> };

export type EngineFault = { text: string };

export type KeysKeyRow = { name: string; wanted: string; sent: string; left: string };

export type KeysKeysView = { receiver: string; receivers: Record<string, string>; policy: string; policies: Array<string>; follow: boolean; per: string; by_osc: boolean; rows: Array<KeysKeyRow>; spread: Array<string>; worst: string; outputs: Array<string>; inputs: Array<string>; status: string; words: string };

export type NoticesNotices = { lines: Array<string>; undecided: boolean };

export type OrderCheckView = { pair: string; engaged: string; should: string; within: string };

export type OrderPlan = { steps: Array<OrderStepView>; checks: Array<OrderCheckView>; at: number; only_beating: boolean; stale: boolean };

export type OrderStepView = { tune: string; against: string; engaged: string; bar: string; count: string; rate: string; interval: string; listen: string; sounds_like: string; sure: string; beats_per_second: number; audible: string };

export type PlayCell = { string: number; column: string; note: string; offset: string; hz: string; moved: boolean; stands: boolean; pinned: boolean; changes: Array<string> };

export type PlayChangeView = { name: string; place: string; key: string; travel: number };

export type PlayChoices = { presets: Record<string, Array<PlayPresetName>>; roots: Array<string>; hearing_caution: string; version: string };

export type PlayColumn = { name: string; changes: Array<string> };

export type PlayGripView = { name: string; own: boolean; taken: boolean };

export type PlayPairView = { low: string; high: string; names: string; strings: string; ratio: string; interval: string; cents: string; direction: string; audible: string; beats_per_second: number; rate: string; counts: string; pulse: string; listen: string; plays: boolean };

export type PlayPresetName = { name: string; title: string };

export type PlaySongView = { name: string; key: string; taken: boolean };

export type PlayStringView = { number: number; note: string; cents: string; hz: string; drop: string; role: string; in_grip: boolean; point: string; changes: Array<string>; pinned: boolean; offset_cents: number; target_cents: number; target: string; pure_with: Array<string> };

export type PlayView = { revision: number; title: string; root_name: string; frets: number; fret: number; bar: string; state: string; changes: Array<PlayChangeView>; columns: Array<PlayColumn>; cells: Array<PlayCell>; strings: Array<PlayStringView>; pairs: Array<PlayPairView>; grips: Array<PlayGripView>; songs: Array<PlaySongView>; cautions: Array<string>; setting: SettingSetting; playing: SettingPlaying; outlet: string; undo: string; redo: string };

export type RemoteRemoteView = { port: number | null; words: string };

export type ServerPong = { sent_ms: number; clock_ms: number };

export type SettingMeterReading = { string: number; changes: Array<string>; unit: string; value: string; against: string; ratio: string };

export type SettingMovedPoint = { string: number; changes: Array<string>; offset_cents: number };

export type SettingPlaying = { travels: Record<string, number>; strings: Array<number>; fret: number; song: string; only: [string, string] | null; two_tones: boolean; two_tones_only: boolean; split: boolean; sounding: boolean; muted: boolean; level_dbfs: number };

export type SettingSavedGrip = { name: string; strings: Array<number>; travels: Record<string, number> };

export type SettingSetting = { instrument: string; temperament: string; root: number | null; drop: string; reference_hz: number; timbre: string; against: string; moved: Array<SettingMovedPoint>; grips: Array<SettingSavedGrip>; scene: string; weights: Record<string, number>; pins: Array<SettingMovedPoint>; objective: "beats" | "cents" | "worst-beats" | "worst-cents"; readings: Array<SettingMeterReading>; meter_cents: number; compared: [string, string] | null; two_tones: SettingTwoTones; songs: Array<SettingSong> };

export type SettingSong = { name: string; key: number };

export type SettingTwoTones = { low: string; high: string; ratio: string };

export type SoundBeat = [low: string, high: string, turns: number, turns_per_second: number];

export type SoundDevices = { names: Array<string>; chosen: string | null };

export type SoundMoment = { stream: number; frame: number; heard_frame: number; heard_at_ms: number; sample_rate: number; beats: Array<SoundBeat>; peak_dbfs: number };

export type SoundVolume = { steady: boolean; is_set: boolean };

export type TemperAsked = { scene: string; scene_title: string; band: string; objective: string; objectives: Record<string, string>; wanted: Array<TemperWantedView>; pins: Array<string> };

export type TemperFrontMark = { across: number; up: number; words: string };

export type TemperGripOffer = { name: string; before: string; after: string; better: boolean; intervals: Array<TemperIntervalOffer> };

export type TemperIntervalOffer = { names: string; ratio: string; before: string; after: string; before_beats: number; after_beats: number };

export type TemperOffer = { found: boolean; summary: string; grips: Array<TemperGripOffer>; points: Array<TemperPointOffer>; notes: Array<string>; front: Array<TemperFrontMark>; across: string; up: string; chosen: number };

export type TemperPointOffer = { point: string; before: string; after: string };

export type TemperWantedView = { name: string; weight: number };

export type TonesRatioChoice = { ratio: string; words: string };

export type TonesTwoTonesView = { written: SettingTwoTones; low_words: string; high_words: string; ratios: Array<TonesRatioChoice>; pair: PlayPairView; heard: boolean; only: boolean };
