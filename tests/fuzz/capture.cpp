/// A capture's bytes: all of them are handed on, in order, at times that never go back; and whatever they are, there is
/// an answer to what they look like. The first byte seeds the split.
#include <algorithm>
#include <cstdint>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/pipeline/link/byte_look.hpp"
#include "server/pipeline/link/capture_time.hpp"

namespace {

using namespace turnstone;

const Dictionary& demo_dictionary() {
    static const Dictionary dictionary = [] {
        std::ifstream file(TURNSTONE_SOURCE_DIR "/tools/demo/sanderling/dictionary.json");
        const std::string text{std::istreambuf_iterator<char>(file), {}};
        std::vector<Problem> problems;
        Dictionary read =
            read_dictionary(*parse_json_text(text, "dictionary.json", problems), "dictionary.json", problems);
        if (!problems.empty()) std::abort();
        return read;
    }();
    return dictionary;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0) return 0;
    unsigned seed = data[0];
    const std::span<const std::byte> bytes = std::as_bytes(std::span(data, size)).subspan(1);
    CaptureTime capture(CobsFraming{}, demo_dictionary());
    std::vector<std::byte> handed_on;
    std::int64_t t_ns = 0;
    const auto on_piece = [&](std::int64_t t_piece_ns, std::span<const std::byte> piece) {
        if (t_piece_ns < t_ns) std::abort();
        t_ns = t_piece_ns;
        handed_on.insert(handed_on.end(), piece.begin(), piece.end());
    };
    for (std::span<const std::byte> rest = bytes; !rest.empty();) {
        seed = seed * 1103515245U + 12345U;
        const std::size_t part = std::min<std::size_t>(rest.size(), 1 + seed / 65536U % 997);
        capture.read(1'000'000'000, rest.first(part), on_piece);
        rest = rest.subspan(part);
    }
    capture.end(on_piece);
    if (!std::equal(handed_on.begin(), handed_on.end(), bytes.begin(), bytes.end())) std::abort();
    if (std::ssize(bytes) >= 64 && !(look_at(bytes) == look_at(bytes.first(std::min(bytes.size(), kLookBytesMax)))))
        std::abort();
    return 0;
}
