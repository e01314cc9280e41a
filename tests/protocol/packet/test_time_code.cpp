// Source: CCSDS 301.0-B-4, 3.2 (CUC), 3.3 (CDS) and 3.4 (CCS), by way of tests/reference/formats/time_codes.json and
// tests/reference/ccsds.json. The cases say which independent library gave each value.
#include <string>

#include <catch2/catch.hpp>

#include "protocol/packet/leap_seconds.hpp"
#include "protocol/packet/time_code.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

namespace {

constexpr std::int64_t kNsPerS = 1'000'000'000;

/// "12.5" as nanoseconds, the nearest; halves go up. Empty when 63 bits do not hold it.
std::optional<std::int64_t> ns_of(const std::string& seconds) {
    const std::size_t point = seconds.find('.');
    const std::string whole = seconds.substr(0, point);
    std::string fraction = point == std::string::npos ? "" : seconds.substr(point + 1);
    fraction.resize(std::max<std::size_t>(fraction.size(), 10), '0');
    if (whole.size() > 10) return std::nullopt;
    const std::int64_t whole_s = std::stoll(whole);
    if (whole_s >= INT64_MAX / kNsPerS) return std::nullopt;
    return whole_s * kNsPerS + std::stoll(fraction.substr(0, 9)) + (fraction[9] >= '5' ? 1 : 0);
}

/// "2026-06-20T10:30:59.5Z" as nanoseconds of UTC since 1970; a second of 60 is the next day's first.
std::int64_t utc_of(const std::string& text) {
    using namespace std::chrono;
    const auto part = [&](std::size_t at, std::size_t size) { return std::stoi(text.substr(at, size)); };
    const sys_days day{year{part(0, 4)} / month{static_cast<unsigned>(part(5, 2))} /
                       std::chrono::day{static_cast<unsigned>(part(8, 2))}};
    const std::string seconds = text.substr(17, text.size() - 18);
    return (day.time_since_epoch().count() * 86'400 + part(11, 2) * 3600 + part(14, 2) * 60) * kNsPerS +
           *ns_of(seconds);
}

/// UTC of the reference's epochs.
std::optional<std::int64_t> epoch_of(const nlohmann::json& test) {
    const std::string id = test.value("epoch", "ccsds_1958");
    if (id == "ccsds_1958") return utc_of("1958-01-01T00:00:00Z");
    if (id == "campaign_2026") return utc_of("2026-06-20T00:00:00Z");
    if (id == "j2000_tt") return utc_of("2000-01-01T11:58:55.816Z");
    if (id == "gps_1980") return utc_of("1980-01-06T00:00:00Z");
    if (id == "j2000_date") return utc_of("2000-01-01T00:00:00Z");
    FAIL("unknown epoch " << id);
    return std::nullopt;
}

/// The code as the P-field says it, sent or not.
std::optional<TimeCode> code_of(const nlohmann::json& test) {
    const std::string sent = test.value("p_field_hex", "");
    const Bytes p_field = from_hex(sent.empty() ? test.value("implicit_p_field_hex", "") : sent);
    auto code = read_p_field(p_field);
    if (!code) return code;
    if (sent.empty()) code->p_field_bytes = 0;
    code->epoch_utc_ns = epoch_of(test);
    return code;
}

std::string encoded(const TimeCode& code, std::uint64_t ns) {
    const auto bytes = encode_time_ns(code, ns);
    return to_hex(std::span(bytes).first(code.bytes()));
}

const nlohmann::json& cases() {
    return read_reference("formats/time_codes.json");
}

} // namespace

TEST_CASE("TAI minus UTC is that of the bulletins", "[time_code]") {
    for (const auto& row : cases()["leap_seconds"]) {
        INFO(row["id"]);
        const std::int64_t day = utc_of(row["from_utc"]) / (kSecondsPerDay * kNsPerS);
        const std::int64_t offset_s = row["tai_minus_utc_s"];
        CHECK(tai_minus_utc_s(day) == offset_s);
        if (offset_s == 10) continue; // whole seconds begin here
        CHECK(tai_minus_utc_s(day - 1) == offset_s - 1);
        CHECK(has_leap_second(day - 1));
        CHECK_FALSE(has_leap_second(day));
    }
    for (const auto& epoch : cases()["epochs"]) {
        INFO(epoch["id"]);
        const std::int64_t utc_ns = *epoch_of({{"epoch", epoch["id"]}});
        CHECK(tai_ns_from_utc_ns(utc_ns) == *ns_of(epoch["seconds_since_1958_tai"]));
        CHECK(utc_ns_from_tai_ns(tai_ns_from_utc_ns(utc_ns)) == utc_ns);
    }
}

TEST_CASE("CUC codes with and without P-field give their seconds and their UTC", "[time_code]") {
    int checked = 0;
    for (const auto& test : cases()["cuc"]) {
        INFO(test["id"]);
        const auto code = code_of(test);
        REQUIRE(code);
        const Exact bytes(from_hex(test["encoded_hex"].get<std::string>()));
        CHECK(code->kind == TimeCode::Kind::cuc);
        CHECK(code->coarse_bytes == test["coarse_octets"]);
        CHECK(code->fine_bytes == test["fine_octets"]);
        CHECK(code->bytes() == test["consumed_octets"]);
        const auto time_ns = decode_time_ns(*code, bytes.span());
        CHECK(time_ns == ns_of(test["seconds_since_epoch"]));
        ++checked;
        if (!test["utc"].is_null()) CHECK(utc_ns_of(*code, *time_ns) == utc_of(test["utc"]));
        for (std::size_t size = 0; size < code->bytes(); ++size)
            CHECK_FALSE(decode_time_ns(*code, Exact(bytes.span().first(size)).span()));
    }
    CHECK(checked == 37);
    for (const auto& time : read_reference("ccsds.json")["time_codes"]) {
        if (time["code"] != "CUC") continue;
        INFO(time["id"]);
        const Bytes bytes = from_hex(time["encoded_hex"].get<std::string>());
        auto code = read_p_field(bytes);
        REQUIRE(code);
        const auto numerator = static_cast<unsigned __int128>(time["seconds_numerator"].get<std::uint64_t>());
        const auto denominator = time["seconds_denominator"].get<std::uint64_t>();
        CHECK(decode_time_ns(*code, bytes) ==
              static_cast<std::int64_t>((numerator * 1'000'000'000U + denominator / 2) / denominator));
    }
}

TEST_CASE("CUC counts are written rounded to the nearest", "[time_code]") {
    int checked = 0;
    for (const auto& test : cases()["cuc_encode"]) {
        INFO(test["id"]);
        TimeCode code;
        code.kind = TimeCode::Kind::cuc;
        code.coarse_bytes = test["coarse_octets"];
        code.fine_bytes = test["fine_octets"];
        // Rounding over the last value returns to zero, as the counter does.
        const std::string expected = test["round_half_up_t_hex"].is_null()
                                         ? std::string(2 * code.bytes(), '0')
                                         : test["round_half_up_t_hex"].get<std::string>();
        CHECK(encoded(code, static_cast<std::uint64_t>(*ns_of(test["seconds"]))) == expected);
        ++checked;
    }
    CHECK(checked == 8);
}

TEST_CASE("CUC counters return to zero after their period", "[time_code]") {
    for (const auto& test : cases()["cuc_rollover"]) {
        INFO(test["id"]);
        TimeCode code;
        code.kind = TimeCode::Kind::cuc;
        code.coarse_bytes = test["coarse_octets"];
        code.fine_bytes = test["fine_octets"];
        CHECK(code.rollover_ns() == 1e9 * test["period_s"].get<double>());
        const auto before = decode_time_ns(code, from_hex(test["before_t_hex"].get<std::string>()));
        const auto after = decode_time_ns(code, from_hex(test["after_t_hex"].get<std::string>()));
        REQUIRE((before && after));
        CHECK(*after + static_cast<std::int64_t>(code.rollover_ns()) - *before == *ns_of(test["forward_step_s"]));
    }
}

TEST_CASE("day and calendar segmented codes give seconds of TAI and their UTC, or are refused", "[time_code]") {
    int good = 0;
    int bad = 0;
    int too_far = 0;
    for (const char* kind : {"cds", "ccs"}) {
        for (const auto& test : cases()[kind]) {
            INFO(test["id"]);
            const auto code = code_of(test);
            const Exact bytes(from_hex(test["encoded_hex"].get<std::string>()));
            if (!test["valid"]) {
                CHECK_FALSE((code && decode_time_ns(*code, bytes.span())));
                ++bad;
                continue;
            }
            REQUIRE(code);
            CHECK(code->bytes() == test["consumed_octets"]);
            const auto time_ns = decode_time_ns(*code, bytes.span());
            const auto& seconds = test["seconds_since_1958_tai"];
            const auto expected = seconds.is_null() ? std::optional<std::int64_t>{} : ns_of(seconds);
            if (!expected) { // before leap seconds, or beyond 292 years
                CHECK((!time_ns || *time_ns == 0));
                ++too_far;
                continue;
            }
            CHECK(time_ns == expected);
            CHECK(utc_ns_of(*code, *time_ns) == utc_of(test["utc"]));
            ++good;
            CHECK_FALSE(decode_time_ns(*code, Exact(bytes.span().first(bytes.span().size() - 1)).span()));
        }
    }
    CHECK(good == 44);
    CHECK(bad == 25);
    CHECK(too_far == 4);
}

TEST_CASE("P-fields of codes that are not defined are refused, and those of another code than expected",
          "[time_code]") {
    int checked = 0;
    for (const auto& test : cases()["structural_errors"]) {
        INFO(test["id"]);
        const Exact bytes(from_hex(test["encoded_hex"].get<std::string>()));
        const auto code = read_p_field(bytes.span());
        if (test["id"] == "agency_epoch_unknown")
            CHECK_FALSE(utc_ns_of(*code, decode_time_ns(*code, bytes.span()).value()));
        else
            CHECK_FALSE((code && decode_time_ns(*code, bytes.span())));
        ++checked;
    }
    CHECK(checked == 15);
    auto expected = *read_p_field(from_hex("1E"));
    CHECK(decode_time_ns(expected, from_hex("1E000000010000")));
    CHECK_FALSE(decode_time_ns(expected, from_hex("1D000000010000")));
    expected.epoch_utc_ns = 0; // an epoch of the agency's own is what the dictionary says
    CHECK(decode_time_ns(expected, from_hex("2E000000010000")));
}

TEST_CASE("counters in any unit give their time and come again from zero", "[time_code]") {
    const TimeCode ms{};
    CHECK(decode_time_ns(ms, from_hex("FFFFFFFF")) == 4'294'967'295'000'000);
    CHECK(ms.rollover_ns() == 4'294'967'296'000'000.0);
    CHECK(encoded(ms, 4'294'967'296'000'000ULL) == "00000000");
    TimeCode split;
    split.coarse_bytes = 4;
    split.fine_bytes = 2;
    split.fine_hz = 10'000;
    CHECK(decode_time_ns(split, from_hex("000000021388")) == 2'500'000'000);
    CHECK(split.rollover_ns() == 4'294'967'296e9);
    CHECK(encoded(split, 2'500'000'000) == "000000021388");
    split.is_little = true;
    CHECK(decode_time_ns(split, from_hex("020000008813")) == 2'500'000'000);
    CHECK(encoded(split, 2'500'000'000) == "020000008813");
    TimeCode ticks;
    ticks.fine_bytes = 8;
    ticks.fine_hz = 32'768;
    CHECK(decode_time_ns(ticks, from_hex("0000000000000001")) == 30'518); // 1/32768 s
    CHECK_FALSE(decode_time_ns(ticks, from_hex("FFFFFFFFFFFFFFFF")));
    // Unix seconds: UTC without leap seconds
    TimeCode unix_time;
    unix_time.coarse_bytes = 4;
    unix_time.fine_bytes = 0;
    unix_time.scale = TimeScale::utc;
    unix_time.epoch_utc_ns = 0;
    CHECK(utc_ns_of(unix_time, *decode_time_ns(unix_time, from_hex("6A366D58"))) ==
          std::int64_t{0x6A366D58} * 1'000'000'000);
}
