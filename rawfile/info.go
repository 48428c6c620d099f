package rawfile

import (
	"context"

	"mullion/metadata"
)

// ReadInfo is [metadata.Read] that asks LibRaw where the tags alone don't tell the
// exposure: the formats that are not built on TIFF, and cameras that keep their
// settings in data of their own. It decodes no pixels.
func ReadInfo(ctx context.Context, path string) (metadata.Info, error) {
	info, err := metadata.Read(ctx, path)
	if err != nil || !metadata.IsRawName(path) || complete(info) {
		return info, err
	}
	err = withFile(ctx, path, func(h here) error {
		info, err = h.librawInfo(ctx, info)
		return err
	})
	return info, err
}

// librawInfo completes what the tags say, in the process that decodes.
func librawInfo(info metadata.Info, data []byte) metadata.Info {
	l, err := openLibrary(data)
	if err != nil {
		// The decoder will say what is wrong, if this frame is ever decoded.
		return info
	}
	defer l.close()
	l.fillInfo(&info, l.sensor())
	return info
}

func complete(i metadata.Info) bool {
	return i.Seconds > 0 && i.ISO > 0 && i.Model != "" && i.Width > 0
}
