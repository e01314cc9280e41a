#pragma once
/// A recording, or a part of one, as a file for other programs.
#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "server/debrief/advance.hpp"
#include "server/record/read/reader.hpp"
#include "shared/result.hpp"
#include "shared/words.hpp"

namespace turnstone::exchange {

enum class Format : unsigned char { csv, jsonl, kml, geojson, gpx, npz, hdf5, raw };
consteval auto words_of(Format) {
    return words<Format::raw>("csv", "jsonl", "kml", "geojson", "gpx", "npz", "hdf5", "raw");
}
/// What a file's name ends with: ".h5".
[[nodiscard]] std::string_view ending_of(Format format) noexcept;
[[nodiscard]] std::string_view media_type_of(Format format) noexcept;

struct ExportRequest {
    Format format = Format::csv;
    std::optional<std::int64_t> from_ns = {}, to_ns = {}; ///< station time, the second exclusive; empty: the ends
    std::vector<std::string> channels = {};               ///< words of table/selection.hpp; of `raw` the link
    std::string vehicle = {};                             ///< of a flight; empty: all
    double every_s = 0;                                   ///< one time base; 0: a row each as it is stored
};

/// The members by their names, as a request and a command line have them; an absent one is empty. `t_start_ns`: seconds
/// are counted from it.
struct ExportWords {
    std::string format, channels;
    std::optional<double> from_s = {}, to_s = {}, every_s = {};
};
[[nodiscard]] Result<ExportRequest> read_export_words(const ExportWords& words, std::int64_t t_start_ns);

/// Why the recording cannot give what is asked for, such as a channel that it does not have.
[[nodiscard]] Result<void> can_export(RecordingReader& reader, const ExportRequest& request);

/// Writes `target`, in memory that does not grow with the recording. What a failure or a stop leaves of the file is
/// removed.
[[nodiscard]] Result<void> export_recording(RecordingReader& reader, const ExportRequest& request,
                                            const std::filesystem::path& target, const debrief::Advance& advance);

} // namespace turnstone::exchange
