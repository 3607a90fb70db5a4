// Worker thread for packages: taking in, checking, hashing, drawing previews. One task at a time, one layer in memory at a time.
import { doPackageTask, type PackageTask } from '../src/packages/index.ts'

export default (task: PackageTask): Promise<unknown> => doPackageTask(task)
