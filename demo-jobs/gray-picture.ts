// A gray picture, and what is done to one while a capture is put together.

/** One byte a pixel, row after row. */
export interface GrayPicture {
  readonly width: number
  readonly height: number
  readonly data: Uint8Array
}

export interface PointPx {
  readonly x: number
  readonly y: number
}

/** Copies a picture onto another; what lies outside is cut off. */
export function lay(sheet: GrayPicture, picture: GrayPicture, at: PointPx): void {
  const fromX = Math.max(0, -at.x)
  const untilX = Math.min(picture.width, sheet.width - at.x)
  if (untilX <= fromX) return
  for (let row = Math.max(0, -at.y); row < Math.min(picture.height, sheet.height - at.y); row++) {
    const start = row * picture.width
    sheet.data.set(picture.data.subarray(start + fromX, start + untilX), (at.y + row) * sheet.width + at.x + fromX)
  }
}

export function fill(sheet: GrayPicture, box: PointPx & { width: number; height: number }, gray: number): void {
  for (let y = Math.max(0, box.y); y < Math.min(sheet.height, box.y + box.height); y++) {
    const start = y * sheet.width + Math.max(0, box.x)
    sheet.data.fill(gray, start, y * sheet.width + Math.min(sheet.width, box.x + box.width))
  }
}

function quarterTurn({ width, height, data }: GrayPicture): GrayPicture {
  const turned = new Uint8Array(data.length)
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) turned[x * height + (height - 1 - y)] = data[y * width + x] as number
  }
  return { width: height, height: width, data: turned }
}

/** Turned clockwise. */
export function turned(picture: GrayPicture, rotateDeg: 0 | 90 | 180 | 270): GrayPicture {
  let out = picture
  for (let deg = 0; deg < rotateDeg; deg += 90) out = quarterTurn(out)
  return out
}
