#include "server/exchange/write/formats.hpp"

namespace turnstone::exchange {

Result<void> write_raw(const Subject& subject, LinkId link, Span span, Output& out, Steps& steps) {
    bool go_on = true;
    subject.reader.inputs(
        [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
            if (!go_on || chunk.link != link || chunk.t_rx_ns < span.from_ns || chunk.t_rx_ns >= span.to_ns) return;
            out.put({reinterpret_cast<const char*>(bytes.data()), bytes.size()}); // NOLINT(*-reinterpret-cast)
            go_on = !out.failed() && steps.go_on(chunk.t_rx_ns);
        },
        [](const ActionRecord&) {});
    return ended(subject, out, !go_on);
}

Result<void> ended(const Subject& subject, Output& out, bool stop) {
    if (auto written = out.finish(); !written) return written;
    if (stop) return debrief::stopped();
    if (!subject.reader.damage().empty())
        return fail(subject.info.path.string() + ": is damaged: " + subject.reader.damage() +
                    "; what could be read was written");
    return {};
}

} // namespace turnstone::exchange
