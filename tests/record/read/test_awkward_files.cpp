/// Recordings in places that cannot be written to, and with times, frames and gaps that no pipeline makes.
#include <array>
#include <functional>
#include <limits>

#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>

#include "server/record/format/sqlite.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/recording_claim.hpp"
#include "server/record/write/recording_file.hpp"
#include "tests/record/pages.hpp"
#include "tests/record/support.hpp"

namespace turnstone {
namespace {

using namespace record_test;

constexpr int kInputs = 50;

/// Commits as a server does that is then killed: everything is in the write-ahead file.
void leave_unclosed(const std::filesystem::path& path) {
    const Schema schema = sample_schema();
    create_recording(path, texts_of(sample_setup()), schema, {kStart_ns, kStart_ns, "", ""}, false);
    RecordingFile file(path, schema, false);
    BatchMaker maker;
    for (int i = 0; i < kInputs; ++i) {
        const Piece piece = maker.next();
        file.append(*piece.inputs);
        file.append(*piece.batch, piece.progress);
        file.commit();
    }
    for (const char* ending : {"", "-wal"})
        std::filesystem::copy_file(path.string() + ending, path.string() + ".copy" + ending);
}

/// What `count` gives in a process without rights over others' files.
int as_nobody(const std::function<int()>& count) {
    const pid_t child = ::fork();
    REQUIRE(child >= 0);
    if (child == 0) ::_exit(::getuid() == 0 && (::setgid(65534) != 0 || ::setuid(65534) != 0) ? 255 : count());
    int status = 0;
    REQUIRE(::waitpid(child, &status, 0) == child);
    REQUIRE(WIFEXITED(status));
    return WEXITSTATUS(status);
}

TEST_CASE("a write-ahead file in a folder that cannot be written to is read too") {
    const TemporaryFolder directory;
    leave_unclosed(directory.recording("live"));
    const auto folder = directory.path() / "card";
    std::filesystem::create_directory(folder);
    for (const char* ending : {"", "-wal"}) {
        const auto to = folder / (std::string("copy.sqlite") + ending);
        std::filesystem::rename(directory.recording("live").string() + ".copy" + ending, to);
        std::filesystem::permissions(to, std::filesystem::perms(0444));
    }
    std::filesystem::permissions(directory.path(), std::filesystem::perms(0755));
    std::filesystem::permissions(folder, std::filesystem::perms(0555));
    const auto count = [&] {
        auto reader = RecordingReader::open(folder / "copy.sqlite");
        if (!reader) return 254;
        int inputs = 0;
        reader->inputs([&](const ChunkRecord&, std::span<const std::byte>) { ++inputs; }, [](const ActionRecord&) {});
        return reader->damage().empty() ? inputs : 253;
    };
    CHECK(as_nobody(count) == kInputs);
    std::filesystem::permissions(folder, std::filesystem::perms(0755));
}

TEST_CASE("of a frame without an end the first bytes are given, from any number of chunks") {
    const TemporaryFolder directory;
    const auto path = directory.recording("long");
    create_recording(path, texts_of(sample_setup()), {}, {kStart_ns, kStart_ns, "", ""}, false);
    constexpr std::uint32_t kChunk = 700, kChunks = 400;
    {
        RecordingFile file(path, {}, false);
        Inputs inputs;
        for (std::uint32_t i = 0; i < kChunks; ++i) {
            inputs.chunks.push_back({i, 0, kStart_ns + i, kStart_ns, i * kChunk, false, {i * kChunk, kChunk}});
            inputs.bytes.insert(inputs.bytes.end(), kChunk, static_cast<std::byte>(i));
        }
        file.append(inputs);
        Batch batch;
        const auto add = [&](std::uint64_t offset, std::uint32_t octets) {
            const auto last = static_cast<std::int64_t>((offset + octets - 1) / kChunk);
            batch.frames.push_back({.t_rx_ns = kStart_ns + last, .stream_offset = offset, .link_bytes = octets});
        };
        add(0, 10);
        add(10, kChunk * (kChunks - 1));
        add(10 + kChunk * (kChunks - 1), kChunk - 10);
        file.append(batch, {});
        file.close("clean");
    }
    auto reader = RecordingReader::open(path);
    REQUIRE(reader);
    const FramePage page = reader->frames(0, 10, std::nullopt);
    REQUIRE(page.bytes.size() == 3);
    CHECK(page.bytes[0] == std::vector<std::byte>(10, std::byte{0}));
    std::vector<std::byte> first(kChunk - 10, std::byte{0});
    first.resize(1024, std::byte{1});
    CHECK(page.bytes[1] == first);
    CHECK(page.bytes[2] == std::vector<std::byte>(kChunk - 10, static_cast<std::byte>((kChunks - 1) & 0xff)));
    CHECK(reader->frames(2, 10, std::nullopt).bytes.at(0) == page.bytes[2]);
}

constexpr int kRows = 20'000;

void record_rows(const std::filesystem::path& path, const Schema& schema) {
    create_recording(path, texts_of(sample_setup()), schema, {kStart_ns, kStart_ns, "", ""}, false);
    RecordingFile file(path, schema, false);
    for (int i = 0; i < kRows; ++i) {
        Batch batch;
        batch.add_row(schema.tables[0], kStart_ns + i * kMs, kStart_ns + i * kMs, std::array{1.0, 2.0, 3.0, 4.0});
        file.append(batch, {});
        if (i % 1000 == 999) file.commit();
    }
    file.close("clean");
}

/// Over spans and numbers of points that differ: however the file is damaged, it ends.
void look_everywhere(RecordingReader& reader) {
    static_cast<void>(reader.info());
    for (const std::size_t points : {1U, 100U, 8192U, 30'000U}) {
        for (const auto& [from_ns, to_ns] :
             {std::pair(std::numeric_limits<std::int64_t>::min(), kLast_ns),
              std::pair(kStart_ns, kStart_ns + 500 * kMs), std::pair(kStart_ns + 6900 * kMs, kStart_ns + 7100 * kMs)}) {
            const auto block = reader.series({0, {0, 3}, from_ns, to_ns, points});
            if (block) CHECK(block->rows <= points);
        }
    }
}

TEST_CASE("absurd times in a damaged file end no reading and leave the other rows where they are") {
    const TemporaryFolder directory;
    const auto path = directory.recording("damaged");
    const Schema schema = sample_schema();
    record_rows(path, schema);
    const std::string most = std::to_string(kLast_ns), least = std::to_string(std::numeric_limits<std::int64_t>::min());
    const std::vector<std::string> damages{
        "UPDATE stored_sanderling_imu SET t_ns = " + most + " WHERE id IN (1, 7000, 20000)",
        "UPDATE stored_sanderling_imu SET t_ns = " + least + " WHERE id IN (1, 7001, 20000)",
        "UPDATE stored_sanderling_imu SET t_ns = t_ns + (1 << 62) WHERE id % 2 = 0",
        "UPDATE rollup_sanderling_imu SET key = " + most + " WHERE key = (SELECT max(key) FROM rollup_sanderling_imu)",
        "UPDATE series SET slack_ns = " + most + ", rollup_shift = 99, rollup_levels = -1",
        "UPDATE series SET slack_ns = " + least,
        "INSERT INTO late_row SELECT 0, t_ns, id + 100000 FROM stored_sanderling_imu LIMIT 100",
        "UPDATE own_column SET step = 0, zero = 9e999",
        "UPDATE meta SET value = '" + most + "' WHERE key = 't_start_ns'",
        "DELETE FROM meta"};
    for (const std::string& damage : damages) {
        INFO(damage);
        const auto changed = directory.recording("changed");
        std::filesystem::remove(changed);
        std::filesystem::copy_file(path, changed);
        Database(changed, Database::Mode::read_write).execute(damage);
        auto reader = RecordingReader::open(changed);
        REQUIRE(reader);
        look_everywhere(*reader);
        static_cast<void>(reader->latest(kStart_ns + 5000 * kMs));
        Batch rows;
        reader->rows(kStart_ns + 2000 * kMs, kStart_ns + 2100 * kMs, 10'000, rows);
        CHECK(rows.rows.size() <= 101);
        if (damage.find("WHERE id IN") != std::string::npos) CHECK(rows.rows.size() == 100);
        // Continued, as after a fault.
        RecordingFile file(changed, schema, false);
        Batch batch;
        batch.add_row(schema.tables[0], kStart_ns + kRows * kMs, kStart_ns + kRows * kMs,
                      std::array{1.0, 2.0, 3.0, 4.0});
        file.append(batch, {});
        file.close("clean");
    }
}

TEST_CASE("pages of a series that hold the rows of other ones end no reading") {
    const TemporaryFolder directory;
    const auto path = directory.recording("whole");
    record_rows(path, sample_schema());
    const auto pages = rows_on_pages(path, "stored_sanderling_imu");
    const auto last = static_cast<std::ptrdiff_t>(pages.size()) - 1;
    const auto page_at = [&](std::ptrdiff_t place) { return std::next(pages.begin(), place)->first; };
    for (const std::ptrdiff_t first : {std::ptrdiff_t{2}, last / 3, last / 2, last - 2}) {
        for (const std::ptrdiff_t old : {std::ptrdiff_t{0}, first - 1, last}) {
            INFO("pages " << first << " and the next, as page " << old << " of " << last);
            const auto changed = directory.recording("changed");
            std::filesystem::copy_file(path, changed, std::filesystem::copy_options::overwrite_existing);
            for (const std::ptrdiff_t place : {first, first + 1})
                copy_page(changed, page_at(old), page_at(place), page_bytes(path));
            auto reader = RecordingReader::open(changed);
            REQUIRE(reader);
            look_everywhere(*reader);
            for (std::int64_t t_ns = kStart_ns; t_ns < kStart_ns + kRows * kMs; t_ns += 97 * kMs) {
                static_cast<void>(reader->latest(t_ns));
                Batch rows;
                reader->rows(t_ns, t_ns + 100 * kMs, 10'000, rows);
                CHECK(rows.rows.size() <= 10'000);
            }
        }
    }
}

TEST_CASE("a series without rows has no table, and reads as none") {
    const TemporaryFolder directory;
    const auto path = directory.recording("few");
    const Schema schema = sample_schema();
    create_recording(path, texts_of(sample_setup()), schema, {kStart_ns, kStart_ns, "", ""}, false);
    const auto claim = RecordingClaim::take(path); // as whoever records has
    RecordingFile file(path, schema, false);
    auto reader = RecordingReader::open(path);
    REQUIRE(reader);
    const auto rows_read = [&] {
        Batch rows;
        CHECK(reader->rows(0, kLast_ns, 100, rows) == kLast_ns);
        CHECK(reader->series({2, {0}, 0, kLast_ns, 10})->rows == rows.rows.size());
        CHECK(reader->latest(kLast_ns)[2].has_value() == !rows.rows.empty());
        return rows.rows.size();
    };
    CHECK(rows_read() == 0);
    Batch batch;
    batch.add_row(schema.tables[2], kStart_ns, kStart_ns, std::array{10.04});
    file.append(batch, {});
    file.commit();
    CHECK(rows_read() == 1); // by the reader that was open before
    Database database(path, Database::Mode::read_only);
    CHECK(database.integer("SELECT count(*) FROM sqlite_schema WHERE name LIKE '%sanderling%'") == 2);
    CHECK(database.text("SELECT utc || ' ' || t_s || ' ' || altitude_m FROM sanderling_estimate_vertical") ==
          "2026-05-17T14:32:05.000000000Z 0.0 10.04");
    CHECK(reader->damage().empty());
}

} // namespace
} // namespace turnstone
