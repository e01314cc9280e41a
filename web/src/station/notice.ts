/** What the station has to tell the person at the page for a moment. */

/** Something that was asked for is done. */
export type DoneCode =
  | 'unlocked'
  | 'logged_out'
  | 'marker_added'
  | 'note_added'
  | 'mark_changed'
  | 'mark_taken_back'
  | 'flight_named'
  | 'recording_started'
  | 'saved'
  | 'acknowledged'
  | 'shelved'
  | 'unshelved'
  | 'countdown'
  | 'procedure'
  | 'step'
  | 'statement'
  | 'entered'
  | 'asked'
  | 'answered'
  | 'link_made'
  | 'bookmarked'
  | 'archived'
  | 'unarchived'
  | 'removed'
  | 'restored'
  | 'copied';
export type FaultCode = 'no_connection' | 'unreadable_message' | 'events_missing' | 'history_missing' | 'failed';
export type NoticeCode = DoneCode | FaultCode;

export interface Notice {
  code: NoticeCode;
  level: 'note' | 'caution';
  /** What went wrong; undefined when the code says it all. */
  failure?: unknown;
}
