// Which recording a server continues, of those that others have left.
#include <catch2/catch.hpp>

#include "server/record/derive.hpp"
#include "server/record/resumable.hpp"
#include "tests/record/support.hpp"

using namespace turnstone;
using namespace turnstone::record_test;

namespace {

constexpr std::int64_t kMinute_ns = 60'000 * kMs;

/// Left by a server that was killed: one chunk at its start, nobody's any more.
std::filesystem::path leave(const TemporaryFolder& directory, const std::string& id, const PipelineSetup& setup,
                            std::int64_t t_ns) {
    auto path = directory.recording(id);
    create_recording(path, texts_of(setup), sample_schema(),
                     {.t_start_ns = t_ns, .utc_start_ns = t_ns, .name = id, .continues = ""}, false);
    RecordingFile file(path, sample_schema(), false);
    InputCounter counter(setup.links.size(), t_ns);
    Inputs inputs;
    counter.chunk(1, t_ns, t_ns, std::vector<std::byte>(5), inputs);
    file.append(inputs);
    file.commit();
    return path;
}

} // namespace

TEST_CASE("a recording cut short minutes ago with the same setup continues, whatever was begun after it") {
    const TemporaryFolder directory;
    const PipelineSetup setup = sample_setup();
    CHECK_FALSE(find_resumable(directory.path(), setup, kStart_ns));
    const auto ours = leave(directory, "2026-05-17T143205Z-sanderling", setup, kStart_ns);
    PipelineSetup other = sample_setup();
    other.site_json = R"({"name": "Elsewhere"})";
    leave(directory, "2026-05-17T143305Z-godwit", other, kStart_ns + kMinute_ns);

    const auto found = find_resumable(directory.path(), setup, kStart_ns + 9 * kMinute_ns);
    REQUIRE(found);
    CHECK(found->id == ours.stem());
    CHECK(found->head.t_start_ns == kStart_ns);
    CHECK(found->inputs == 1);
    CHECK(found->t_last_ns == kStart_ns);
    CHECK(found->stream_bytes == std::vector<std::uint64_t>{0, 5});
    // It is held from then on.
    CHECK_FALSE(find_resumable(directory.path(), setup, kStart_ns + 9 * kMinute_ns));
    CHECK(finish_recording(ours) == RepairOutcome::in_use);
}

TEST_CASE("a recording that is old or closed does not continue") {
    const TemporaryFolder directory;
    const PipelineSetup setup = sample_setup();
    const auto ours = leave(directory, "2026-05-17T143205Z-sanderling", setup, kStart_ns);
    CHECK_FALSE(find_resumable(directory.path(), setup, kStart_ns + 11 * kMinute_ns));
    CHECK(find_resumable(directory.path(), setup, kStart_ns + 9 * kMinute_ns));
    CHECK(finish_recording(ours) == RepairOutcome::repaired);
    CHECK_FALSE(find_resumable(directory.path(), setup, kStart_ns + 9 * kMinute_ns));
}
