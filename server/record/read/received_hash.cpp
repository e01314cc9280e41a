#include "server/record/read/received_hash.hpp"

#include <array>
#include <memory>

#include <openssl/evp.h>

#include "server/record/format/fixed_tables.hpp"

namespace turnstone {

Result<std::string> received_sha256(const std::filesystem::path& path) {
    const std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> digest(EVP_MD_CTX_new(), &EVP_MD_CTX_free);
    if (!digest || EVP_DigestInit_ex(digest.get(), EVP_sha256(), nullptr) != 1)
        return fail("SHA-256 is not to be had from this computer's OpenSSL");
    try {
        Database database(path, Database::Mode::read_only);
        RowSelect<ChunkRow> chunks(database, kChunkTable, "WHERE carried = 0 ORDER BY input");
        while (chunks.step()) {
            const ChunkRow row = chunks.row();
            EVP_DigestUpdate(digest.get(), row.bytes.data(), row.bytes.size());
        }
    } catch (const SqliteError& error) {
        return fail(path.string() + ": " + error.what());
    }
    std::array<unsigned char, EVP_MAX_MD_SIZE> bytes{};
    unsigned size = 0;
    EVP_DigestFinal_ex(digest.get(), bytes.data(), &size);
    constexpr std::string_view kDigits = "0123456789abcdef";
    std::string out;
    for (unsigned k = 0; k < size; ++k) {
        out += kDigits[bytes[k] >> 4];
        out += kDigits[bytes[k] & 15];
    }
    return out;
}

} // namespace turnstone
