/// protocol/STREAM.md names the words that the server sends: each set is there as the server has it.
#include <catch2/catch.hpp>

#include <sstream>
#include <string>

#include "protocol/framing/deframer.hpp"
#include "server/estimate/math/nis_monitor.hpp"
#include "server/estimate/phases/phase.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/series.hpp"
#include "shared/link_state.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;

namespace {

/// With every run of white space as one blank.
std::string specification() {
    std::istringstream file(test::read_file(test::source_path("protocol/STREAM.md")));
    std::string out;
    for (std::string word; file >> word;) out += (out.empty() ? "" : " ") + word;
    return out;
}

template <class Enum>
std::string joined(const std::string& separator) {
    std::string out;
    for (const std::string_view word : kWords<Enum>) out += (out.empty() ? "" : separator) + std::string(word);
    return out;
}

} // namespace

TEST_CASE("the specification of the stream names the server's words") {
    const std::string text = specification();
    REQUIRE(text.size() > 5000);
    for (const std::string& set : {
             "`event` is what happened, one of `" + joined<EventId>(" ") + "`",
             "`kind`: `" + joined<EventKind>(" ") + "`",
             "`level`: `" + joined<Level>(" ") + "`",
             "`frame_verdict` is one of `" + joined<FrameVerdict>(" ") + "`",
             "`packet_verdict` one of `" + joined<PacketVerdict>(" ") + "`",
             "| " + joined<estimate::Phase>(", ") + " |",
             "| " + joined<estimate::Health>(", ") + " |",
         }) {
        INFO(set);
        CHECK(text.find(set) != std::string::npos);
    }
    for (const std::string_view state : kWords<LinkState>) {
        INFO(state);
        CHECK(text.find("| `" + std::string(state) + "` |") != std::string::npos);
    }
    for (const std::string_view kind : kWords<TableKind>) {
        INFO(kind);
        CHECK(text.find("`" + std::string(kind) + "`") != std::string::npos);
    }
}
