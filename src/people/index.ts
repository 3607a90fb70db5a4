// The door of people: their keys and roles.
export { type Holder, type KeyRecord, type Keys, type KeyVerdict, openKeys } from './keys.ts'
export { readLocalKey, removeLocalKey, writeLocalKey } from './local-key.ts'
export { isSameName } from './names.ts'
export { type PeoplePolicy, runActs, type TwoPersonAct, twoPersonActs } from './policy.ts'
export { type Role, roles } from './roles.ts'
