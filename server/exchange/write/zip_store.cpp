#include "server/exchange/write/zip_store.hpp"

#include <utility>

#include <zlib.h>

namespace turnstone::exchange {

namespace {

constexpr std::uint16_t kVersion = 45;               // that knows 64-bit sizes
constexpr std::uint16_t kFlags = 1U << 3 | 1U << 11; // checksum behind the content; names in UTF-8
constexpr std::uint16_t kDate = 1U << 5 | 1U;        // 1980-01-01, the first there is
constexpr std::uint32_t kIn64 = 0xffffffff;          // the size stands in the extra field

/// Little-endian numbers after one another.
class Record {
  public:
    template <class Number>
    Record& add(Number value) {
        for (std::size_t i = 0; i < sizeof value; ++i)
            bytes_ += static_cast<char>(static_cast<unsigned char>(std::uint64_t{value} >> (8 * i)));
        return *this;
    }
    Record& add(const std::string& text) {
        bytes_ += text;
        return *this;
    }
    operator std::string_view() const noexcept { return bytes_; }

  private:
    std::string bytes_;
};

} // namespace

void ZipStore::begin(std::string name, std::uint64_t bytes) {
    members_.push_back(
        {std::move(name), out_.bytes() - start_, bytes, static_cast<std::uint32_t>(crc32(0, nullptr, 0))});
    const Member& member = members_.back();
    Record header;
    header.add(std::uint32_t{0x04034b50}).add(kVersion).add(kFlags).add(std::uint16_t{0});
    header.add(std::uint16_t{0}).add(kDate).add(std::uint32_t{0}).add(kIn64).add(kIn64);
    header.add(static_cast<std::uint16_t>(member.name.size())).add(std::uint16_t{20}).add(member.name);
    header.add(std::uint16_t{1}).add(std::uint16_t{16}).add(bytes).add(bytes);
    out_.put(header);
}

void ZipStore::put(std::string_view content) {
    Member& member = members_.back();
    member.crc = static_cast<std::uint32_t>(
        crc32_z(member.crc, reinterpret_cast<const Bytef*>(content.data()), content.size())); // NOLINT
    out_.put(content);
}

void ZipStore::end() {
    const Member& member = members_.back();
    Record behind;
    behind.add(std::uint32_t{0x08074b50}).add(member.crc).add(member.bytes).add(member.bytes);
    out_.put(behind);
}

void ZipStore::finish() {
    const std::uint64_t directory = out_.bytes() - start_;
    for (const Member& member : members_) {
        Record entry;
        entry.add(std::uint32_t{0x02014b50}).add(kVersion).add(kVersion).add(kFlags).add(std::uint16_t{0});
        entry.add(std::uint16_t{0}).add(kDate).add(member.crc).add(kIn64).add(kIn64);
        entry.add(static_cast<std::uint16_t>(member.name.size())).add(std::uint16_t{28}).add(std::uint16_t{0});
        entry.add(std::uint16_t{0}).add(std::uint16_t{0}).add(std::uint32_t{0}).add(kIn64).add(member.name);
        entry.add(std::uint16_t{1}).add(std::uint16_t{24}).add(member.bytes).add(member.bytes).add(member.offset);
        out_.put(entry);
    }
    const std::uint64_t end = out_.bytes() - start_;
    const std::uint64_t count = members_.size();
    Record last;
    last.add(std::uint32_t{0x06064b50}).add(std::uint64_t{44}).add(kVersion).add(kVersion);
    last.add(std::uint32_t{0}).add(std::uint32_t{0}).add(count).add(count).add(end - directory).add(directory);
    last.add(std::uint32_t{0x07064b50}).add(std::uint32_t{0}).add(end).add(std::uint32_t{1});
    last.add(std::uint32_t{0x06054b50}).add(std::uint16_t{0}).add(std::uint16_t{0});
    last.add(std::uint16_t{0xffff}).add(std::uint16_t{0xffff}).add(kIn64).add(kIn64).add(std::uint16_t{0});
    out_.put(last);
}

} // namespace turnstone::exchange
