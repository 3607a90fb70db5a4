// Who may act: the roles that a key can have.

/** `line` is good for one line only; `admin` may do everything, and alone makes and revokes keys. */
export const roles = ['prepress', 'line', 'qa', 'admin'] as const
export type Role = (typeof roles)[number]
